BEGIN TRANSACTION;
CREATE TABLE chunk (
        id INTEGER PRIMARY KEY,             -- the order in time within a series
        series INTEGER NOT NULL REFERENCES series (id) ON DELETE CASCADE,
        first_ms INTEGER NOT NULL,
        last_ms INTEGER NOT NULL,
        merged INTEGER NOT NULL,            -- 0: as committed, 1: many of those made one
        data BLOB NOT NULL
    );
INSERT INTO "chunk" VALUES(5,1,0,5900,1,X'013C0000003000000078DA6338413E601805831E3052406400E378C27A203E71623D109F780EE29F587F02CE469313006964016B660119C00C36888501CE46931B05F8C187D12018500000C8FA528A');
INSERT INTO "chunk" VALUES(6,2,0,5900,1,X'013C0000000000000078DA6338413E601805831E30520000E2672E55');
INSERT INTO "chunk" VALUES(7,3,0,5900,1,X'013C0000000000000078DA6338413E601805831E30520000E2672E55');
INSERT INTO "chunk" VALUES(8,4,0,5900,1,X'013C0000000000000078DA6338413E601805831E30520000E2672E55');
INSERT INTO "chunk" VALUES(9,5,0,1900,0,X'01140000000000000078DA6338810918061160C40200DD7D0EED');
INSERT INTO "chunk" VALUES(10,6,0,1900,0,X'01140000000000000078DA6338810918061160C40200DD7D0EED');
INSERT INTO "chunk" VALUES(11,7,0,1900,0,X'01140000001400000078DA633881091806397881458C7910B9EFC3200F3F0028AA10B4');
INSERT INTO "chunk" VALUES(12,8,0,1900,0,X'01140000000000000078DA6338810918061160C40200DD7D0EED');
CREATE TABLE excursion (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        direction TEXT NOT NULL,
        level TEXT NOT NULL,
        limit_value REAL NOT NULL,
        start_s REAL NOT NULL,
        peak REAL NOT NULL,
        peak_s REAL NOT NULL,
        end_s REAL,                         -- NULL while it lasts
        end_word TEXT,
        warned_s REAL
    );
INSERT INTO "excursion" VALUES(1,1,'left','wrist_flexion','flexion','extreme',45.0,1.0,52.0,3.0,5.5,'returned',4.0);
CREATE TABLE mark (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        time_s REAL NOT NULL,
        note TEXT NOT NULL
    );
INSERT INTO "mark" VALUES(1,1,2.5,'bar 12');
INSERT INTO "mark" VALUES(2,2,1.5,'then the power went');
CREATE TABLE migration (number INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, applied_at TEXT NOT NULL);
INSERT INTO "migration" VALUES(1,'sessions with samples, excursions, marks','2026-11-25T11:18:46+00:00');
CREATE TABLE refusal (code INTEGER PRIMARY KEY, word TEXT NOT NULL UNIQUE);
INSERT INTO "refusal" VALUES(1,'hand not seen');
INSERT INTO "refusal" VALUES(2,'hand too small in the picture');
INSERT INTO "refusal" VALUES(3,'hand cut off by the edge of the picture');
INSERT INTO "refusal" VALUES(4,'forearm not seen');
INSERT INTO "refusal" VALUES(5,'view unlike any it was calibrated for');
INSERT INTO "refusal" VALUES(6,'too uncertain from this view');
INSERT INTO "refusal" VALUES(7,'left or right hand not clear');
CREATE TABLE series (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        value_step REAL NOT NULL,           -- numbers in a chunk are multiples of these
        sd_step REAL NOT NULL,
        UNIQUE (session, side, quantity)
    );
INSERT INTO "series" VALUES(1,1,'left','wrist_flexion',0.01,0.05);
INSERT INTO "series" VALUES(2,1,'left','wrist_ulnar_deviation',0.01,0.05);
INSERT INTO "series" VALUES(3,1,'right','wrist_flexion',0.01,0.05);
INSERT INTO "series" VALUES(4,1,'right','wrist_ulnar_deviation',0.01,0.05);
INSERT INTO "series" VALUES(5,2,'left','wrist_flexion',0.01,0.05);
INSERT INTO "series" VALUES(6,2,'left','wrist_ulnar_deviation',0.01,0.05);
INSERT INTO "series" VALUES(7,2,'right','wrist_flexion',0.01,0.05);
INSERT INTO "series" VALUES(8,2,'right','wrist_ulnar_deviation',0.01,0.05);
CREATE TABLE session (
        number INTEGER PRIMARY KEY,
        id TEXT NOT NULL UNIQUE,
        started_at TEXT NOT NULL,           -- UTC, ISO 8601
        ended_at TEXT,                      -- NULL while it runs, or after a crash
        end_reason TEXT,
        source_name TEXT NOT NULL,
        source_kind TEXT NOT NULL,
        instrument TEXT,
        program_version TEXT NOT NULL,
        settings_json TEXT NOT NULL,        -- as they were
        end_s REAL,
        limits_json TEXT NOT NULL,          -- with their sources
        rules_json TEXT NOT NULL,           -- of the watch: hold time and so on
        lost_samples INTEGER NOT NULL DEFAULT 0,
        dropped_frames INTEGER NOT NULL DEFAULT 0,
        summary_json TEXT
    );
INSERT INTO "session" VALUES(1,'84332594','2025-03-01T18:00:00.000+00:00','2025-03-01T18:00:06.000+00:00','stopped','demo','film','guitar','0.1.0','{"hold_s": 3.0}',6.0,'{"name": "carpal-pressure", "label": "pressure in the carpal tunnel", "description": "Angles that keep the pressure in the carpal tunnel below 25 mmHg (comfort) and below 30 mmHg (extreme; protects three of four people), measured without fingertip force; a hand that presses strings has less margin.", "bands": [{"quantity": "wrist_flexion", "direction": "flexion", "comfort": {"value": 37.7, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 25 mmHg", "mark": "F"}, "extreme": {"value": 48.6, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 30 mmHg; 95 % CI 37.7-59.4", "mark": "F"}}, {"quantity": "wrist_flexion", "direction": "extension", "comfort": {"value": 26.6, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 25 mmHg", "mark": "F"}, "extreme": {"value": 32.7, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 30 mmHg; 95 % CI 27.2-38.1", "mark": "F"}}, {"quantity": "wrist_ulnar_deviation", "direction": "ulnar", "comfort": {"value": 12.1, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 25 mmHg", "mark": "F"}, "extreme": {"value": 14.5, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 30 mmHg; 95 % CI 9.6-19.4", "mark": "F"}}, {"quantity": "wrist_ulnar_deviation", "direction": "radial", "comfort": {"value": 17.8, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 25 mmHg", "mark": "F"}, "extreme": {"value": 21.8, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 30 mmHg; 95 % CI 14.7-29.0", "mark": "F"}}]}','{"hysteresis_deg": 5.0, "unseen_grace_s": 1.0, "min_excursion_s": 0.3, "max_gap_s": 0.25, "hold_s": 3.0, "warn_probability": 0.8, "clear_probability": 0.5, "dip_s": 0.4, "rearm_s": 5.0, "warn_sides": ["left", "right"]}',0,0,'{"session": {"id": "84332594", "started_at": "2025-03-01T18:00:00.000+00:00", "ended_at": "2025-03-01T18:00:06.000+00:00", "end_reason": "stopped", "duration_s": 6.0, "source": {"name": "demo", "kind": "film"}, "instrument": "guitar", "program_version": "0.1.0", "lost_samples": 0, "dropped_frames": 0}, "start_s": 0.0, "end_s": 6.0, "duration_s": 6.0, "limits": "carpal-pressure", "warnings": 1, "quantities": [{"side": "left", "quantity": "wrist_flexion", "unit": "deg", "total_s": 6.0, "measured_s": 4.8, "measured_share": 0.8, "unseen_s": {"hand not seen": 1.2}, "zones": [{"zone": "within comfort", "direction": "flexion", "seconds": 4.8, "share": 1.0}, {"zone": "beyond comfort", "direction": "flexion", "seconds": 0.0, "share": 0.0}, {"zone": "extreme", "direction": "flexion", "seconds": 0.0, "share": 0.0}, {"zone": "within comfort", "direction": "extension", "seconds": 0.0, "share": 0.0}, {"zone": "beyond comfort", "direction": "extension", "seconds": 0.0, "share": 0.0}, {"zone": "extreme", "direction": "extension", "seconds": 0.0, "share": 0.0}], "percentiles": {"p10": 20.0, "p50": 23.0, "p90": 26.0}, "excursions": [{"level": "comfort", "direction": "flexion", "limit": 37.7, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "flexion", "limit": 48.6, "count": 1, "total_s": 4.5, "longest_s": 4.5, "longest_start_s": 1.0, "peak": 52.0}, {"level": "comfort", "direction": "extension", "limit": 26.6, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "extension", "limit": 32.7, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}], "warnings": 1}, {"side": "left", "quantity": "wrist_ulnar_deviation", "unit": "deg", "total_s": 6.0, "measured_s": 0.0, "measured_share": 0.0, "unseen_s": {"hand not seen": 6.0}, "zones": [{"zone": "within comfort", "direction": "ulnar", "seconds": 0.0, "share": null}, {"zone": "beyond comfort", "direction": "ulnar", "seconds": 0.0, "share": null}, {"zone": "extreme", "direction": "ulnar", "seconds": 0.0, "share": null}, {"zone": "within comfort", "direction": "radial", "seconds": 0.0, "share": null}, {"zone": "beyond comfort", "direction": "radial", "seconds": 0.0, "share": null}, {"zone": "extreme", "direction": "radial", "seconds": 0.0, "share": null}], "percentiles": null, "excursions": [{"level": "comfort", "direction": "ulnar", "limit": 12.1, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "ulnar", "limit": 14.5, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "comfort", "direction": "radial", "limit": 17.8, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "radial", "limit": 21.8, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}], "warnings": 0}, {"side": "right", "quantity": "wrist_flexion", "unit": "deg", "total_s": 6.0, "measured_s": 0.0, "measured_share": 0.0, "unseen_s": {"hand not seen": 6.0}, "zones": [{"zone": "within comfort", "direction": "flexion", "seconds": 0.0, "share": null}, {"zone": "beyond comfort", "direction": "flexion", "seconds": 0.0, "share": null}, {"zone": "extreme", "direction": "flexion", "seconds": 0.0, "share": null}, {"zone": "within comfort", "direction": "extension", "seconds": 0.0, "share": null}, {"zone": "beyond comfort", "direction": "extension", "seconds": 0.0, "share": null}, {"zone": "extreme", "direction": "extension", "seconds": 0.0, "share": null}], "percentiles": null, "excursions": [{"level": "comfort", "direction": "flexion", "limit": 37.7, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "flexion", "limit": 48.6, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "comfort", "direction": "extension", "limit": 26.6, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "extension", "limit": 32.7, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}], "warnings": 0}, {"side": "right", "quantity": "wrist_ulnar_deviation", "unit": "deg", "total_s": 6.0, "measured_s": 0.0, "measured_share": 0.0, "unseen_s": {"hand not seen": 6.0}, "zones": [{"zone": "within comfort", "direction": "ulnar", "seconds": 0.0, "share": null}, {"zone": "beyond comfort", "direction": "ulnar", "seconds": 0.0, "share": null}, {"zone": "extreme", "direction": "ulnar", "seconds": 0.0, "share": null}, {"zone": "within comfort", "direction": "radial", "seconds": 0.0, "share": null}, {"zone": "beyond comfort", "direction": "radial", "seconds": 0.0, "share": null}, {"zone": "extreme", "direction": "radial", "seconds": 0.0, "share": null}], "percentiles": null, "excursions": [{"level": "comfort", "direction": "ulnar", "limit": 12.1, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "ulnar", "limit": 14.5, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "comfort", "direction": "radial", "limit": 17.8, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "radial", "limit": 21.8, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}], "warnings": 0}], "excursions": [{"side": "left", "quantity": "wrist_flexion", "direction": "flexion", "level": "extreme", "limit": 45.0, "start_s": 1.0, "end_s": 5.5, "end": "returned", "peak": 52.0, "peak_s": 3.0, "warned_s": 4.0}], "warned": [{"side": "left", "quantity": "wrist_flexion", "direction": "flexion", "limit": 45.0, "since_s": 1.0, "fired_s": 4.0, "cleared_s": 5.5}], "marks": [{"time_s": 2.5, "note": "bar 12"}]}');
INSERT INTO "session" VALUES(2,'e187cb3e','2025-03-02T18:00:00.000+00:00',NULL,NULL,'demo','film','guitar','0.1.0','{"hold_s": 3.0}',NULL,'{"name": "carpal-pressure", "label": "pressure in the carpal tunnel", "description": "Angles that keep the pressure in the carpal tunnel below 25 mmHg (comfort) and below 30 mmHg (extreme; protects three of four people), measured without fingertip force; a hand that presses strings has less margin.", "bands": [{"quantity": "wrist_flexion", "direction": "flexion", "comfort": {"value": 37.7, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 25 mmHg", "mark": "F"}, "extreme": {"value": 48.6, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 30 mmHg; 95 % CI 37.7-59.4", "mark": "F"}}, {"quantity": "wrist_flexion", "direction": "extension", "comfort": {"value": 26.6, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 25 mmHg", "mark": "F"}, "extreme": {"value": 32.7, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 30 mmHg; 95 % CI 27.2-38.1", "mark": "F"}}, {"quantity": "wrist_ulnar_deviation", "direction": "ulnar", "comfort": {"value": 12.1, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 25 mmHg", "mark": "F"}, "extreme": {"value": 14.5, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 30 mmHg; 95 % CI 9.6-19.4", "mark": "F"}}, {"quantity": "wrist_ulnar_deviation", "direction": "radial", "comfort": {"value": 17.8, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 25 mmHg", "mark": "F"}, "extreme": {"value": 21.8, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 30 mmHg; 95 % CI 14.7-29.0", "mark": "F"}}]}','{"hysteresis_deg": 5.0, "unseen_grace_s": 1.0, "min_excursion_s": 0.3, "max_gap_s": 0.25, "hold_s": 3.0, "warn_probability": 0.8, "clear_probability": 0.5, "dip_s": 0.4, "rearm_s": 5.0, "warn_sides": ["left", "right"]}',0,0,NULL);
CREATE TABLE warning (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        direction TEXT NOT NULL,
        limit_value REAL NOT NULL,
        since_s REAL NOT NULL,
        fired_s REAL NOT NULL,
        cleared_s REAL                      -- NULL while it is shown
    );
INSERT INTO "warning" VALUES(1,1,'left','wrist_flexion','flexion',45.0,1.0,4.0,5.5);
CREATE INDEX chunk_of_series ON chunk (series, id);
CREATE INDEX excursion_of_session ON excursion (session, start_s);
CREATE INDEX mark_of_session ON mark (session, time_s);
CREATE INDEX warning_of_session ON warning (session, fired_s);
COMMIT;
