"""Routes of the page: the running practice, and the practice log with all that is kept.

Every route answers JSON, a video or a file; a refusal is `{"error": sentence}` with 4xx. Bodies are JSON objects
(`Content-Type: application/json`); unknown entries are refused; a PATCH changes the entries it names. Times are
seconds of the session, `started_at` and the like UTC in ISO 8601. What is unknown or missing is null.

Shapes, by the name used below
    PASSAGE   {"id", "session_id", "piece_id", "piece", "bars", "tempo_bpm", "start_s", "end_s"}
              bars is free text ("bars 12-16"), "" without; end_s is null while it is being played
    CHOICE    {"piece", "bars", "tempo_bpm"}, what is played now or next; null for nothing in particular
    ITEM      {"piece", "bars", "tempo_bpm"}
    LIST      {"items": [ITEM], "position": int | null}, the practice list; position is the item in play
    PIECE     {"id", "name", "last_played", "minutes", "sessions", "passages", "clips"}
              last_played is null for a piece never played
    MARK      {"id", "time_s", "note"}
    CLIP      {"id", "session_id", "session_started_at", "name", "start_s", "end_s", "bytes", "reason",
               "has_sound", "kept", "note", "state", "passage": PASSAGE | null, "moments": [MOMENT]}
              state: "there", "missing" (the file is gone), "removed" (made room for newer ones). Second 0 of
              the video is the session's start_s.
    MOMENT    {"kind": "warning" | "extreme" | "mark", "start_s", "key_s", "end_s", "side", "quantity",
               "direction", "excursion_id", "mark_id"}
    CHECK     {"id", "session_id", "moment": "before" | "after", "checked_at", "rating", "places": [name],
               "signs": [name], "note", "advice": ADVICE}
    ADVICE    {"level": "none" | "watch" | "pause" | "end" | "same day" | "emergency", "sentences": [text],
               "sources": [text]}
    EXPOSURE  `posturewatch.exposure.values.Exposure.to_json`

    STATE     {"phase": "opening" | "watching" | "stopped" | "failed", "session_id", "elapsed_s", "practised_s",
               "source", "notice",
               "fault", "asides": [sentence], "dropped", "marks", "passage": CHOICE | null,
               "warns": ["left" | "right"], the hands that are warned of, "ending"}

Words
    GET    /api/vocabulary                      `posturewatch.review.vocabulary`; DEVELOPERS.md has its shape

While playing; the live socket is /api/live, see `posturewatch.server.live_socket`
    GET    /api/state                           STATE
    POST   /api/start                           STATE
    POST   /api/stop                            STATE
    POST   /api/mark  {"note"?}                 STATE + {"marked_s": s | null}
    POST   /api/warns  {"sides": ["left" | "right"]}    STATE; until posturewatch ends, the settings say it for good
    GET    /api/passage                         {"passage": CHOICE | null}
    POST   /api/passage  CHOICE | {"piece": null}   {"passage": CHOICE | null}; also before the session starts
    GET    /api/practice-list                   LIST
    PUT    /api/practice-list  {"items": [ITEM]}    LIST
    POST   /api/practice-list/step  {"by": 1 | -1} | {"to": int}    LIST + {"passage": CHOICE | null};
           stops at either end of the list; the first step forward goes to the first item

Before a practice; see `posturewatch.pipeline.before_start.set_up`
    GET    /api/setup                           SETUP: {"preview": {"phase": "off" | "opening" | "on" |
           "failed", "fault", "notice", "source"}, "choices": {"source", "size_px", "rate_hz", "mirrored",
           "hfov_deg", "microphone", "instrument", "handedness", "before_start", "remembered", "film"},
           "placement": {"enough", "rate_hz", "towards_head_deg", "grades": [{"side", "name", "grade": "well" |
           "fairly" | "poorly" | "not", "sd", "share", "refusal"}], "advice": {"help", "side", "move_deg"} | null}};
           the preview ends where nobody asks for 8 s
    POST   /api/setup/open                      SETUP; begins the preview, 409 while a session runs
    POST   /api/setup/close                     SETUP; gives the camera back
    PATCH  /api/setup  {any of the choices}     SETUP; kept in the settings file, the microphone's name ("" for none) in
           the player's; null in SETUP is the system's own
           SETUP also has "measuring": {"what", "side", "quantity", "direction", "hint", "part", "done", "value_deg",
           "sd_deg", "question", "fault"} | null; "straight": [{"side", "quantity"}], whose bias is removed in this
           view; "player": {"name", "hand", "ends", "names", "typical_hand_mm", "hand_mm"}; "limits": [{"side",
           "quantity", "direction", "level", "published", "source", "range_deg", "range_side", "own", "by_hand",
           "in_settings", "used", "origin": "published" | "range" | "hand" | "settings" | "extreme", "most",
           "ask_below"}]
    POST   /api/setup/measure  {"what": "neutral" | "end" | "lens", "side"?, "quantity"?, "direction"?}    SETUP
    POST   /api/setup/measure/stop              SETUP
    POST   /api/setup/measure/keep              SETUP; keeps what is questioned
    PUT    /api/setup/hand  {"length_mm": mm | null, "method"?: "ruler" | "card"}    SETUP
    DELETE /api/setup/range                     SETUP; forgets the player's own range
    PATCH  /api/setup/limits  {"side", "quantity", "direction", "level", "value": degrees | null, "sure"?}    SETUP; 422
           where wider than what is published and what the own range allows, 409 where it is to be asked about first
    GET    /api/setup/board.pdf                 the board by which a lens is measured
    GET    /api/setup/board.png                 the same as a picture
    GET    /api/setup/cameras                   {"cameras": [{"source", "name", "size_px", "rate_hz"}]}
    GET    /api/setup/microphones               {"microphones": [{"name", "usual"}], "fault": sentence | null}
    GET    /api/setup/instruments               {"instruments": [`posturewatch.config.instruments`]}
    GET    /api/settings                        {"file", "exists", "running", "sections":
           [`posturewatch.config.settings_form`]}
    PATCH  /api/settings  {"section", "key", "value"}    the same; null takes the setting out of the file

Pieces
    GET    /api/pieces                          {"pieces": [PIECE]}, those not played for longest first
    GET    /api/pieces/suggest?begins=noc       {"pieces": [{"id", "name", "last_played", "bars": [text]}]},
           where any word of the name begins so, last played first; bars: passages of it, last played first
    GET    /api/pieces/ID                       PIECE + {"played": [{"session_id", "started_at", "minutes",
           "passages": [PASSAGE], "exposure": [SHORT]}], "clip_list": [CLIP]}, oldest first; for SHORT see trends
    PATCH  /api/pieces/ID  {"name"}             PIECE; of that name already: both become one, whose it is
    DELETE /api/pieces/ID                       {"deleted": true}; 409 while passages of it are kept

One session
    GET    /api/sessions                        {"sessions": [SESSION + {"warnings", "clips", "pieces", "extreme_share",
           "measured_share", "pain"}]}, newest first, see `posturewatch.review.session_list`; SESSION as
           `posturewatch.storage.records.SessionInfo.to_json`
    GET    /api/sessions/ID/summary             `posturewatch.review.summaries.summarise_record`
    GET    /api/sessions/ID                     {"session": SESSION, "passages": [PASSAGE],
           "marks": [MARK], "excursions": [as in the summary, with "id", without "past_s", "hold"],
           "clips": [CLIP], "checks": [CHECK],
           "exposure": {"session": [EXPOSURE], "passages": [{"passage_id", "exposure": [EXPOSURE]}],
                        "parts": [{"piece_id", "piece", "bars", "passage_ids", "exposure": [EXPOSURE]}],
                        "minutes": [{"start_s", "end_s", "exposure": [SHORT]}]} | null while it runs,
           "finding": `posturewatch.exposure.findings.Finding.to_json` | null; its passage_id is that of the
                      first passage of the part, its moments are ids of clips as text,
           "damage": [sentence], on what cannot be read or relied on any more}
    GET    /api/sessions/ID/comparison?with=ID  `posturewatch.review.comparison.compare`: beside another session
    GET    /api/sessions/ID/comparison?clip=NUMBER  the same beside a clip
    DELETE /api/sessions/ID                     {"deleted": true, "bytes": int}; with its clips
    GET    /api/sessions/ID/samples?start_s=&end_s=    {"series": [{"side", "quantity", "unit", "time_s": [],
           "value": [], "sd": []}]}, null where refused; 300 s at most
    GET    /api/sessions/ID/trace?bins=600      {"bin_s", "series": [{"side", "quantity", "unit", "low": [],
           "median": [], "high": [], "measured": []}]}: by bin the lowest, median and highest value, and the
           measured share of its samples; null where nothing was measured; fewer bins in a short session
    GET    /api/sessions/ID/report.pdf?who=&paper=a4|letter&weeks=0    a file to save; weeks: with the sessions of so
    GET    /api/sessions/ID/report.html?who=&clips=false&weeks=0       many weeks before
    GET    /api/sessions/ID/bundle.zip?who=&weeks=0    a file to save, for `posturewatch open`
    POST   /api/sessions/ID/remarks  {"text", "time_s"?}    REMARK; only where somebody else's practices are looked at
    DELETE /api/remarks/ID                      {"deleted": true}
    POST   /api/remarks  the file of notes of `posturewatch open`    {"added", "known", "strange"}
    REMARK    {"id", "uid", "time_s", "author", "text", "written_at"}; time_s null: of the session as a whole; the
              session's document has them as "remarks"
    POST   /api/sessions/ID/passages  {"piece", "bars"?, "tempo_bpm"?, "start_s", "end_s"}    PASSAGE
    PATCH  /api/passages/ID  {"piece"?, "bars"?, "tempo_bpm"?, "start_s"?, "end_s"?}    PASSAGE
    DELETE /api/passages/ID                     {"deleted": true}; the samples stay
    POST   /api/sessions/ID/marks  {"time_s", "note"?}    MARK
    PATCH  /api/marks/ID  {"time_s"?, "note"?}  MARK
    DELETE /api/marks/ID                        {"deleted": true}
    GET    /api/sessions/ID/export.csv          a file to save
    GET    /api/sessions/ID/export.json         a file to save

Films that are handed in
    GET    /api/films                           {"films": [FILM], "limit_bytes"}, in the order in which they came
    PUT    /api/films?name=&piece=&bars=&modified_s=    FILM; the body is the film's file itself, of any length up to
           limit_bytes; modified_s: when that file was last written, seconds since 1970
    DELETE /api/films/ID                        {"deleted": true}: off the list; its session stays where it is kept
    FILM      {"id", "name", "piece", "bars", "bytes", "phase": "waiting" | "measuring" | "keeping" | "kept" |
               "failed", "share": 0..1 | null, "left_s", "session_id", "sentence"}

Clips
    GET    /api/clips?session=ID&piece=ID       {"clips": [CLIP]}, newest first; both filters optional
    GET    /api/clips/ID                        CLIP
    GET    /api/clips/ID/video                  video/mp4, in ranges; 404 with a sentence where it is missing
    GET    /api/clips/ID/picture?time_s=        image/jpeg of that second of the session, else of its moment
    PATCH  /api/clips/ID  {"kept"?, "note"?}    CLIP
    DELETE /api/clips/ID                        {"deleted": true, "bytes": int}

Discomfort
    GET    /api/checks/form                     {"scale": {"lowest", "highest", "label"}, "sides": [text],
           "places": [{"name", "label"}], "signs": [{"name", "label", "level"}]}; a place of a check is
           "left NAME" or "right NAME"
    GET    /api/checks                          {"checks": [CHECK]}, newest first
    POST   /api/checks  {"moment", "rating", "places"?, "signs"?, "note"?, "session_id"?}    CHECK
           before: without session_id, it joins the next session within the hour
    DELETE /api/checks/ID                       {"deleted": true}

Over weeks
    GET    /api/trends?weeks=52                 {"from": day | null, "to": day, "waiting": int,
           "load": [{"monday", "minutes", "sessions"}], "notice": sentence | null,
           "lines": [{"side", "quantity", "unit", "direction", "level", "weeks": [TOTAL + {"monday"}],
                      "change": {"earlier", "later", "share"} | null, "slope_per_week": float | null,
                      "worst": {"piece_id", "piece", "share"} | null, of the last week that has a share}],
           "pain": [{"day", "before": int | null, "after": int | null}], the highest rating of each day,
           "pieces": [{"piece_id", "piece", "lines": [{"side", "quantity", "unit", "direction", "level",
                      "total": TOTAL}]}]}
           days are the player's own calendar days; all lines have the same weeks; pieces not played for longest
           first; waiting: sessions whose exposure is not computed yet (ask again); for TOTAL, change and slope
           see `posturewatch.exposure.trends`
    SHORT     {"side", "quantity", "unit", "total_s", "measured_s", "p10", "p50", "p90", "rests", "levels":
               [{"direction", "level": "comfort" | "extreme", "limit", "seconds", "share", "excess",
                 "excursions", "longest_s"}]}: beyond each limit that there is; share of the measured time

Own data
    GET    /api/data                            {"folder", "database_bytes", "clips_bytes", "set_aside_bytes",
           "other_bytes", "total_bytes", "sessions": [{"id", "started_at", "duration_s", "samples_bytes",
           "clips": int, "clips_bytes"}]}, newest first
    POST   /api/data/forget  {"everything": true}    {"deleted": true, "bytes": int}; settings stay
"""
