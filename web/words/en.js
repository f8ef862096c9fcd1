// The words of the page in English, which are complete: every other language has the same entries (the type checker
// sees to that). Entries with a gap are functions. `terms` is empty here: what the program itself names in English comes
// with its vocabulary.

import setup from "./setup/en.js";

/** @import { Level, Side, State, Terms } from "../js/api.d.ts" */

/**
 * @param {number} count
 * @param {string} one
 * @param {string} many
 */
const plural = (count, one, many) => `${count} ${count === 1 ? one : many}`;

/** @param {number} weeks */
const weeksAgo = (weeks) => (weeks === 0 ? "this week" : weeks === 1 ? "last week" : `${weeks} weeks ago`);

/** @type {Record<Side, string>} */
const sides = { left: "left", right: "right" };
/** @type {Record<Side, string>} */
const hands = { left: "Left hand", right: "Right hand" };
/** @type {Record<Level, string>} */
const levels = { comfort: "comfort", extreme: "extreme" };
/** @type {Record<Level, string>} */
const limits = { comfort: "comfort limit", extreme: "extreme limit" };
/** @type {Terms} */
const terms = { quantities: {}, directions: {}, fingers: {}, roles: {}, refusals: {}, planes: {}, cues: {}, places: {}, signs: {}, settings: {}, noForce: null };

const PRESSURE = (/** @type {string} */ until) => ({
  text: `Pressure in the carpal tunnel rises with the angle. In one laboratory study it stayed below 30 mmHg in three of four people up to ${until}.`,
  source: "Keir, Bach, Hudes and Rempel 2007, Human Factors 49(1):88-99", mark: /** @type {const} */ ("F"),
});
const FORCE = {
  text: "That was measured without pressing. Fingertip force, pinching and a fully turned-out forearm raise the pressure further, so a hand on the fingerboard has less margin.",
  source: "Rempel 1997 and 1998; Keir 1998", mark: /** @type {const} */ ("F"),
};
const WEAK = {
  text: "No wrist limit has been validated for players of instruments, and posture alone is a weak sign: force and how long without a rest matter as much, and a camera sees no force.",
  source: "see the limits' own sources", mark: /** @type {const} */ ("D"),
};

export default {
  /** What the program says in whole sentences is English. @type {Record<string, string>} */
  sentences: {},
  setup, sides, hands, levels, limits, terms,
  /** What a hand or its finger does: "Left wrist bent in (flexion)". */
  sided: (/** @type {Side} */ side, /** @type {string} */ what) => `${side === "left" ? "Left" : "Right"} ${what}`,
  certain: (/** @type {string} */ amount) => `${amount} certain`,
  save: "Save", cancel: "Cancel", change: "Change", delete: "Delete", close: "Close", hide: "Hide", note: "Note", keepIt: "Keep it",
  numbers: { underOnePercent: "under 1\u00a0%", overNinetyNinePercent: "over 99\u00a0%", bytes: "bytes" },
  faults: { unreachable: "posturewatch does not answer. If it was closed, start it again." },
  keys: { pageUp: "Page Up", mark: "Space · Enter · Page Down" },
  zones: { within: "in comfort range", beyond: "past comfort range", extreme: "extreme", unsure: "unsure", unseen: "not measured" },
  /** @type {Record<State, string>} */
  states: {
    idle: "–", within: "in comfort range", beyond: "past comfort range", extreme: "extreme", held: "ease off", unsure: "unsure", partly: "partly seen", unseen: "hand not seen",
  },

  live: {
    message: "Message", picture: "Picture", hands: "Your hands", controls: "Controls", timePractised: "Time practised",
    pictureAbout: "You, mirrored, with the measured hand and forearm lines drawn on the picture",
    start: "Start", startAgain: "Start again", mark: "Mark this moment", stop: "Stop", mute: "Mute sound", showFingers: "Show fingers",
    soundHint: "Sound starts after one click or key press on this page.",
    marked: (/** @type {string} */ at) => `Marked ${at}`,
    watching: "Watching.", eased: "Eased.",
    warns: "Warnings", on: "on", off: "off", notWarnedOf: "Its warnings are off.",
    warnsNow: (/** @type {Side} */ side, /** @type {boolean} */ on) => `${hands[side]}: warnings ${on ? "on" : "off"}.`,
    joining: "Joining posturewatch…",
    lost: "Connection to posturewatch lost; trying again. If it was closed, start it again: what was recorded is kept.",
    stopping: "Stopping; keeping what was recorded…", summaryLate: "The summary has not come yet; trying again.", opening: "Opening the camera…", failed: "The session failed.", ready: "Ready.",
    pressStart: "Press Start, or Page Up.",
    noPicture: "No picture is coming from the camera. Check that it is plugged in and not covered.", noPictureShort: "No picture is coming.", filmWaits: "No new picture of the film yet.",
    empty: {
      waiting: "Waiting for a picture…", stopped: "Your mirrored picture appears here. It never leaves this machine.",
      pedals: "A foot pedal that sends Page Down marks, one that sends Page Up stops and starts.",
    },
    limit: (/** @type {string} */ limit) => `limit ${limit}`,
    warning: (/** @type {string} */ what, /** @type {number} */ seconds) => `${what}, held ${seconds}\u00a0s.`,
    bothHands: "Both hands",
    told: {
      idle: (/** @type {string} */ _who) => "",
      within: (/** @type {string} */ who) => `${who}: in comfort range.`,
      beyond: (/** @type {string} */ who) => `${who}: past comfort range.`,
      extreme: (/** @type {string} */ who) => `${who}: extreme wrist angle.`,
      held: (/** @type {string} */ who) => `${who}: extreme wrist angle.`,
      unsure: (/** @type {string} */ who) => `${who}: too uncertain to say.`,
      partly: (/** @type {string} */ who) => `${who}: not everything is measured.`,
      unseen: (/** @type {string} */ who) => `${who}: not seen.`,
    },
    mayBePast: (/** @type {string} */ who, /** @type {string} */ quantity) => `${who}: ${quantity} is too uncertain to call it comfortable.`,
    notMeasured: (/** @type {string} */ who, /** @type {string} */ quantity, /** @type {string} */ why) => `${who}: ${quantity} not measured, ${why}.`,
    notSeen: (/** @type {string} */ who, /** @type {string} */ why) => `${who}: ${why}.`,
    framesPerSecond: (/** @type {number} */ count) => `${plural(count, "frame", "frames")} per second`,
    skipped: (/** @type {number} */ count) => `${count} skipped`,
  },

  playing: {
    title: "What you play", choose: "Piece and passage…", changeTitle: "Change what you play, and the practice list",
    previous: "Previous passage", previousTitle: "Previous of the practice list (P)", next: "Next passage", nextTitle: "Next of the practice list (N)",
    noPiece: "no piece", piece: "Piece", passage: "Passage", passages: "Passages", tempo: "Tempo (bpm)", from: "From", to: "To", now: "now",
    pieceExample: "name of the piece", barsExample: "bars 12-16", noTempo: "without", timesExample: "Write times as minutes and seconds, such as 3:07.5.",
    noPassages: "No passages.", addPassage: "Add a passage", deleteYes: "Delete passage",
    deleteQuestion: (/** @type {string} */ name) => `Delete the passage ${name}? What was measured stays.`,
    nowPlaying: (/** @type {string} */ what) => `Now ${what}.`, place: (/** @type {number} */ at, /** @type {number} */ of) => `${at} of ${of}`,
    noList: "There is no practice list yet; press the passage's name to set one up.", nameFirst: "Name the piece first.",
    playNow: "Play this now", addToList: "Add to the list", playNone: "No piece", play: "Play", list: "Practice list",
    listAbout: "Set up beforehand what you will play.", listKeys: "While playing, N goes to the next and P to the previous.",
    earlier: (/** @type {string} */ name) => `Earlier: ${name}`, takeOff: (/** @type {string} */ name) => `Take off the list: ${name}`,
  },

  check: {
    title: "How does it feel?", where: "Where? Tap the place", symptoms: "Any of these symptoms?", nothingChosen: "Nothing chosen.",
    after: "after playing", beforeAgain: "before playing again", moreOf: "Where, and what else…",
    ask: { before: "How did it feel before playing?", after: "How does it feel now?" }, keep: "Keep this", done: "Done", basis: "What this rests on",
    scale: (/** @type {number} */ low, /** @type {number} */ high) => `${low} is no pain, ${high} the worst you can imagine`,
    chooseNumber: (/** @type {number} */ low, /** @type {number} */ high) => `Choose a number from ${low} to ${high}.`,
    rated: (/** @type {number} */ rating, /** @type {"before" | "after"} */ moment) => `${rating} of 10 ${moment} playing`,
    kept: (/** @type {number} */ rating, /** @type {"before" | "after"} */ moment) => `Kept: ${rating} of 10 ${moment} playing`,
    nothingFollows: "Nothing to be careful about follows from that.", deleteQuestion: "Delete this check for good?", deleteYes: "Delete check",
    place: (/** @type {Side} */ side, /** @type {string} */ place) => `${sides[side]} ${place}`,
    views: { palm: (/** @type {Side} */ side) => `${sides[side]} hand, palm`, back: (/** @type {Side} */ side) => `${sides[side]} hand, back` },
  },

  marks: {
    title: "Marks", one: "mark", none: "No marks.", noNote: "without a note", add: "Add a mark", at: "At", deleteYes: "Delete mark",
    deleteQuestion: (/** @type {string} */ at) => `Delete the mark at ${at}?`, timeExample: "Write the time as minutes and seconds, such as 3:07.5.",
    count: (/** @type {number} */ count) => (count === 0 ? "No marks" : plural(count, "mark", "marks")),
    how: "While playing, Space, Enter or Page Down marks the moment.",
  },

  summary: {
    title: "Practice ended", more: "Passages, clips and what to work on next", howToRead: "How to read this",
    warnings: (/** @type {number} */ count) => (count === 0 ? "No warnings" : plural(count, "warning", "warnings")),
    headline: (/** @type {string} */ warnings, /** @type {string} */ quantity, /** @type {string} */ share, /** @type {string} */ judged) =>
      `${warnings}; ${quantity} measured ${share} of the time, certain enough to judge the hand ${judged} of the time`,
    tooLittle: (/** @type {string} */ headline) => `${headline}: too little to say.`,
    headlineNothing: (/** @type {string} */ warnings) => `${warnings}; no wrist was measured: too little to say.`,
    ofPractice: (/** @type {string} */ time) => `${time} of practice`, source: (/** @type {string} */ name) => `source: ${name}`, keptHere: "Everything is kept on this machine.",
    noneHeld: "Nothing that is warned of was held past its extreme limit in the time that was measured.",
    warningsCaption: "What was held past its extreme limit and warned of", what: "What", state: "State", peak: "Peak",
    nothingRecorded: "Nothing was recorded of this hand.", nothingMeasured: "Nothing was measured.", neverPast: "Never seen past a limit for longer than a moment.",
    measured: (/** @type {string} */ share, /** @type {string} */ rest) => `Measured ${share} of the time.${rest ? ` The rest: ${rest}.` : ""}`,
    statesCaption: (/** @type {string} */ hand, /** @type {string} */ quantity) => `${hand}, ${quantity}: time by state and direction`,
    ofTheTime: (/** @type {string} */ shares) => `${shares} of the time.`,
    spread: (/** @type {string} */ median, /** @type {string} */ low, /** @type {string} */ high) => `Median ${median}; 10th to 90th percentile: ${low} to ${high}.`,
    longestHold: (/** @type {string} */ limit, /** @type {string} */ value, /** @type {string} */ direction, /** @type {string} */ time, /** @type {string} */ at) =>
      `Longest hold past the ${limit} (${value} ${direction}): ${time}, at ${at}.`,
    cautions: [
      "This is posture only. A camera cannot see force, and how hard and how long you press matter as much.",
      "No wrist limit has been validated for players of instruments; these come from work and physiology.",
      "It does not replace a teacher or a clinician, and diagnoses nothing.",
    ],
    ifItHurts: "If it hurts, stop. Numbness, tingling, weakness or pain that stays: see a clinician.",
    unwarned: (/** @type {number} */ count) => `No warnings, but ${plural(count, "hold", "holds")} past the extreme limit`,
    endings: /** @type {Record<string, string>} */ ({ stopped: "", "film ended": "to the end of the film", "time reached": "to the end of the time set", failed: "broken off by a fault" }),
    everyAngle: "Every angle in detail", away: (/** @type {string} */ time) => `${time} without a picture, not counted`,
    limitsUsed: (/** @type {string} */ name) => `Limits used: ${name}.`, notMeasuredCounts: "Time that was not measured counts as not measured, never as comfortable.",
    certainMeans: "In comfort range means that every watched angle had a number whose 90 % interval lay inside the comfort limits; unsure, that an interval reached past a limit, or that there is none. Certain means with a probability of 90 % or more.",
  },

  timeline: { title: "The practice at a glance", of: (/** @type {string} */ hand) => `${hand}: share of the time in each state, from the beginning to the end` },

  overview: {
    holds: (/** @type {string} */ limit) => `Longest past the ${limit}`, past: (/** @type {string} */ at) => `past it, from ${at}`, peak: (/** @type {string} */ value) => `peak ${value}`, notFilmed: "not filmed",
    pictureOf: (/** @type {string} */ at) => `Picture at ${at}`, watch: "Watch the longest", nothingHeld: "No hold past a limit was found on the hand at the fingerboard, as far as it could be judged.",
    hardlyJudged: "Most of the time the angles were too uncertain to judge: move the camera a little, so that hand and forearm are seen from the side.",
    next: (/** @type {string} */ what, /** @type {string} */ limit, /** @type {number} */ count, /** @type {string} */ time, /** @type {string} */ at) =>
      `${what}: past the ${limit} ${count === 1 ? "once" : `${count} times`}, ${count === 1 ? "for" : "the longest for"} ${time}, from ${at}.`,
    seeMore: (/** @type {string} */ quantity, /** @type {string} */ share) => (quantity === "" ? "No wrist was measured: help the camera to see the hand." : `Help the camera first: ${quantity} was measured ${share} of the time, too little to say more.`),
  },

  fingers: {
    title: "Fingers", measured: "Measured", liftHead: "Lift", lift: "What lift is, in one picture", byPassage: "Fingers by passage",
    /** In a column as narrow as a finger. @type {Record<State, string>} */
    states: { idle: "", within: "In range", beyond: "Past range", extreme: "Extreme", held: "Ease off", unsure: "Unsure", partly: "Partly seen", unseen: "Not measured" },
    /** Directions whose names in files would say more of an ordinary bend than is meant. @type {Record<string, string>} */
    directions: { hook: "bent", collapse: "bent back" },
    notCertain: "too uncertain to say", noLimit: "no limit set",
    notMeasurable: (/** @type {string} */ why, /** @type {string} */ help) => `not measured, ${why}. ${help}`, noneNow: (/** @type {string} */ why) => `Fingers ${why}`,
    liftIn: (/** @type {string} */ plane) => `Lift in mm, ${plane}.`, whichHand: "It is not known which hand is on the fingerboard; the settings tell the instrument.",
    notValidated: "The limits for fingers are common practice put into numbers; nobody has validated them. Styles differ.",
    neverGiven: "Not measured: the model in use did not give fingers, or the session is older than their measurement.",
    noneInTime: "No fingers were measured in this time: the model in use did not give them, or the sessions are older than their measurement.",
    notGiven: "not seen well enough from any view to be given", notMeasuredBecause: (/** @type {string} */ why) => `Not measured: ${why}.`,
    noLift: (/** @type {string} */ why) => `Lift was not measured: ${why}.`, cellNotMeasured: (/** @type {string} */ why) => `not measured: ${why}`,
    past: (/** @type {string} */ limit) => `Past ${limit}`,
    liftCaption: (/** @type {string} */ hand) => `${hand}: share of the measured time in which each finger was lifted past a limit`,
    sharePast: (/** @type {string} */ share, /** @type {string} */ limit) => `${share} past ${limit}`, alsoPast: "Also past a limit",
    pastLine: (/** @type {string} */ what, /** @type {string} */ parts, /** @type {string} */ share) => `${what}: ${parts} (measured ${share} of the time).`,
    planeFor: (/** @type {string} */ plane, /** @type {string} */ time) => `${plane} for ${time}`, planes: (/** @type {string[]} */ parts) => `Lift was measured ${parts.join(", and ")}.`,
    missing: (/** @type {string} */ why) => `When a finger was not measured, this was why: ${why}.`,
    noCues: "Cues could not be seen in what was measured.", noCueCertain: "Of the cues that could be seen, none was certain for more than a moment.",
    cues: "Cues, by the time in which they were certain",
    cueLine: (/** @type {string} */ cue, /** @type {string} */ share, /** @type {string} */ of) => `${cue}: ${share} of the ${of}.`,
    cueColumn: (/** @type {string} */ cue, /** @type {string} */ of) => `${cue} (share of the ${of})`,
  },

  log: { title: "Practice log", pages: "Pages", practice: "‹ Practice" },
  charts: { failed: "The charts could not be loaded; the numbers are in the table.", date: "date", lowest: "lowest", highest: "highest", median: "median", moments: "clips and marks" },

  sessions: {
    title: "Sessions", session: "Session", caption: "Sessions, newest first", when: "When", played: "Pieces", length: "Length", source: "Source", size: "Size", running: "running", demo: "demo, not counted as practice", demoFilm: "demo video", camera: "camera",
    film: (/** @type {string} */ name) => `film “${name}”`, warnings: "Warnings", extreme: "Past the extreme limit", pain: "Pain (0 to 10)",
    about: "Past the extreme limit: share of the measured time, of the direction in which it was most. Measured: share of the time, of the angle of the fingerboard hand that was measured least.", recording: "Recording",
    newer: "‹ Newer", older: "Older ›", none: "Nothing has been recorded yet. Start a practice on the practice page; it is kept here when it ends.",
  },

  films: {
    title: "A film from the phone", drop: "Drop films here, or choose them. They are measured on this machine and become sessions; the films themselves are not kept.", choose: "Choose films",
    sending: (/** @type {string} */ share) => `being copied, ${share}`, waiting: "waiting", keeping: "being kept", kept: "done", failed: "could not be measured", open: "Open the session", remove: "Take off the list",
    measuring: (/** @type {string} */ share) => `being measured, ${share}`, left: (/** @type {string} */ time) => `about ${time} left`, waits: "While you practise, films wait.",
    list: "Films that were handed in", tooLarge: (/** @type {string} */ name, /** @type {string} */ most) => `${name} is larger than ${most}; cut it, or use: posturewatch analyse.`, piece: "What is played (may stay empty)", bars: "Bars",
  },

  comparison: {
    title: "Beside another practice", about: "Choose a practice of the same piece or a clip of the same bars, such as your best.", choose: "Practice or clip to compare with", practices: "Practices", clips: "Clips",
    short: "A clip is a few seconds; the numbers there are those of these seconds.", nothing: "none", caption: "This practice beside another, passage by passage",
    what: "Passage and angle", now: "Median here", then: "Median there", difference: "Difference", extreme: "Past the extreme limit, here / there", noneAlike: "The same bars were not played in both.",
    differs: (/** @type {string} */ by, /** @type {string} */ most) => `${by}, more than the uncertainty of ${most}`, tooClose: (/** @type {string} */ by, /** @type {string} */ most) => `${by}, within the uncertainty of ${most}: too close to tell`,
    tooLittle: (/** @type {string} */ share) => `measured ${share} of the time: too little to say`, otherLimits: "The two were judged by different limits, so their shares do not mean the same.",
    note: "Two recordings are two views of the camera, and the error of each is mostly a constant of its view. Compare practices with the camera in the same place.",
  },

  remarks: {
    title: "Notes of others", yours: "Your notes on this practice", none: "No notes yet.", whole: "all of it", add: "Leave this note", text: "Note", at: "At (m:ss, empty for all of it)", deleteQuestion: "Delete this note?",
    come: "Notes that a teacher has left on your practices come back in a file whose name ends in -notes.json.", choose: "Choose a file of notes", noNotes: (/** @type {string} */ name) => `${name} is no file of notes.`,
    taken: (/** @type {number} */ added, /** @type {number} */ known, /** @type {number} */ strange) => [`${plural(added, "new note", "new notes")}.`, known > 0 ? `${known} were there already.` : "", strange > 0 ? `${strange} are on sessions that are not kept here.` : ""].filter(Boolean).join(" "),
    shared: (/** @type {string} */ file, /** @type {string} */ notes) => `These are somebody else's practices, from ${file}. Nothing is changed or kept; your notes go into ${notes}.`,
  },

  report: {
    title: "Report for a teacher or clinician", open: "Report…", name: "Player's name (may stay empty)", kind: "As", of: "About", save: "Save", cancel: "Cancel",
    kinds: /** @type {Record<string, string>} */ ({ a4: "PDF, A4", letter: "PDF, Letter", html: "Web page", clips: "Web page with the films in it", bundle: "Bundle with clips, for a teacher who has posturewatch" }),
    about: (/** @type {number} */ weeks) => (weeks === 0 ? "this practice" : `this practice and those of the ${weeks} weeks before`),
    shows: "It shows pictures of you. It is saved on this machine; pass it on only to whom it is meant for.", working: "Being written…",
  },

  session: {
    edit: "Change passages and marks", of: (/** @type {string} */ when) => `Session of ${when}`, running: "This session is still running; what it adds up to is worked out when it ends.",
    noClips: "No moment of this session was filmed. Held extreme angles and your marks become clips.", felt: "How it felt",
    lostSamples: (/** @type {number} */ count) => `${plural(count, "sample", "samples")} could not be kept`, saveAs: (/** @type {string} */ kind) => `Save as ${kind}`, print: "Print",
    delete: "Delete session", deleteQuestion: (/** @type {string} */ when) => `Delete the session of ${when} for good, with its clips?`,
    states: "Time by state and direction",
    statesNote: "Shares are of the measured time; both directions of one wrist add up to 100 %. In comfort range: the 90 % interval lies inside the comfort limits; unsure: it reaches past a limit.", howMuch: "How much was measured, and why the rest was not",
    measured: (/** @type {string | null} */ share, /** @type {string} */ rest) => `${share === null ? "not measured" : `measured ${share} of the time`}${rest ? `; the rest: ${rest}` : ""}.`,
    nothingMeasured: "Nothing was measured in this session.", byPassage: "By passage", byPassageCaption: "Exposure by passage",
    noPassages: "No passage was named. Name what you play beneath the picture, or add passages below: then this table tells where it happened.",
    noLimitInAny: "No limit was passed in any of them.", overTime: "Over the session", overTimeOf: (/** @type {string} */ line) => `${line} over the session`,
    overTimeNote: "Solid lines: extreme limits; dashed: comfort limits. Upwards is flexion or ulnar, downwards extension or radial; for fingers upwards is lifted or bent, "
      + "downwards bent backwards. Where the line breaks off, nothing was measured.",
  },

  finding: {
    title: "The next thing to work on",
    /** In English the program says it itself. @type {((one: { what: string, share: string, where: string, limit: string, nowhere: string | null, elsewhere: string }) => string) | null} */
    said: null,
    watch: (/** @type {number} */ clip) => `Watch clip ${clip}`, meaning: "What this means", tryFirst: "Often tried first:",
    facts: (/** @type {string} */ share, /** @type {string} */ here, /** @type {string} */ elsewhere) => `Measured in ${share} of the passage (${here}), compared with ${elsewhere} elsewhere. `
      + "This share weighs each angle by its uncertainty, so the tables below can differ a little.",
  },

  detail: {
    title: "In detail", caption: "Past each limit", noLimitPassed: "No limit was passed, as far as it was measured.", limit: "Limit", timePast: "Time past it", longestHold: "Longest hold",
    times: "Excursions", excess: "Excess angle × time", spreadCaption: "Spread and rests", quantity: "Quantity", p10: "10th percentile", median: "Median", p90: "90th percentile", rests: "Rests per minute",
    note: "Longest hold: the time past the limit in one excursion. Excursions end once the hand is clearly back; moments before that in which it was just within the limit are no time past it. Excess angle × time: degrees past the limit times seconds. Rests: 2 s or more near neutral. Posture only: a camera cannot see force, which matters as much.",
    variation: "How long at which angle without a break (exposure variation)", angle: "Angle", over: (/** @type {string} */ time) => `over ${time}`,
    below: (/** @type {string} */ value) => `below ${value}`, above: (/** @type {string} */ value) => `above ${value}`,
    between: (/** @type {string} */ low, /** @type {string} */ high) => `${low} to ${high}`,
  },

  clips: {
    title: "Clips", one: "Clip", about: "Short videos of held extreme angles and of your marks, newest first. The oldest make room for new ones; those that you keep stay.",
    none: "There are no clips yet. While you practise, held extreme angles and your marks become short videos.", yourMark: "your mark", kept: "kept",
    held: (/** @type {string} */ what) => `Held: ${what}`, extreme: (/** @type {string} */ what) => `Extreme: ${what}`,
    numbered: (/** @type {number} */ at, /** @type {string} */ what) => `Clip ${at} · ${what}`, at: (/** @type {string} */ time) => `at ${time}`,
    missing: "the video is missing", removed: "removed to make room for newer clips", there: "",
  },

  player: {
    title: "Player", play: "Play", pause: "Pause", speeds: { 0.25: "¼ speed", 0.5: "½ speed", 1: "Full speed" }, loop: "Loop", overlay: "Angle over the picture", mirrored: "Mirrored",
    sound: "Sound", back: "‹ Frame", forward: "Frame ›", leftArrow: "Left arrow", rightArrow: "Right arrow", whichLine: "Which line",
    keys: "Keys: Space plays and pauses, ← and → step, 1, 2 and 3 set the speed, L loops, O shows the angle.", filmGone: "The video of this clip is not there any more; its angles are.",
    clock: (/** @type {string} */ at, /** @type {string} */ of) => `${at} of ${of} s`,
    traceLabel: (/** @type {string | null} */ line) => `${line ?? "Nothing was measured"} over time; arrow keys step by frames`,
  },

  review: {
    title: "Review", choose: "Choose a clip from the list of clips.", sideBySide: "Side by side", compareWith: "Compare with", onlyOne: "one clip only",
    noOther: "There is no other clip yet to compare this one with.", inStep: "Both clips run in step, so that the moments they were made for meet.",
    kept: "Kept.", notKept: "No longer kept.", keep: "Keep it: never removed to make room", saveNote: "Save note", download: "Download clip", saved: "saved", notSaved: "not saved yet",
    deleteQuestion: "Delete this clip for good?", which: { only: "This clip", first: "This first clip", second: "This second clip" },
    delete: { only: "Delete clip", first: "Delete first clip", second: "Delete second clip" },
  },

  trends: {
    title: "Trends", spans: { 13: "three months", 26: "half a year", 52: "a year", 156: "three years" },
    none: "Nothing was recorded in this time; after the first sessions, this page tells how weeks compare.",
    waiting: (/** @type {number} */ count) => `${plural(count, "session is", "sessions are")} not worked out yet; open this page again in a moment.`,
    line: (/** @type {string} */ what, /** @type {Level} */ level) => `${what}, past ${limits[level]}`, short: (/** @type {string} */ what, /** @type {Level} */ level) => `${what}, ${levels[level]}`,
    weekTitle: "The last week measured", weekNone: "No wrist was past an extreme limit in what was measured in the last two weeks that were.", weekUnknown: "Too little was measured in any week to compare them.",
    week: (/** @type {string} */ what, /** @type {string} */ now, /** @type {number} */ ago, /** @type {{ share: string, ago: number } | null} */ before, /** @type {{ piece: string, share: string } | null} */ worst) =>
      `${what}: past the extreme limit ${now} of the measured time ${weeksAgo(ago)}${before ? ` (${weeksAgo(before.ago)}: ${before.share})` : ""}${worst ? `; worst in “${worst.piece}” (${worst.share})` : ""}.`,
    more: "More", pain: "How it felt", painNone: "Nobody has said yet how it felt; the page asks before and after playing.", painChart: "Highest rating of each day, 0 is no pain, 10 the worst",
    painAt: { before: "before playing", after: "after playing" }, painAll: "All ratings",
    painLast: (/** @type {string} */ day, /** @type {number | null} */ before, /** @type {number | null} */ after) =>
      `Last: ${[before === null ? "" : `${before} of 10 before`, after === null ? "" : `${after} of 10 after`].filter(Boolean).join(", ")} playing, ${day}.`,
    byDirection: "By direction", byPiece: "By piece", byPieceCaption: "Share of the measured time past each limit, by piece", leastRecentFirst: "Least recently played first.",
    chart: (/** @type {string} */ title) => `${title}: share of the measured time past each limit, by week`, caption: (/** @type {string} */ title) => `${title}: weeks compared`,
    direction: "Direction", previousWeek: "Previous week", lastWeek: "Last week", change: "Change", slope: "Trend per week", noChange: "none",
    points: (/** @type {string} */ value) => `${value} points`, noLimitPassed: "No limit was passed in a week that was measured for at least five minutes.", noPiece: "No piece was named in this time.",
    about: "Share of the measured time. A week measured for less than five minutes has no share, and shows as a gap; the weeks compared are the last two that have one. "
      + "The trend is the median of the changes between weeks, from four weeks on.",
    minutes: "Minutes per week", minutesChart: "Minutes recorded, by week", minutesUnit: "minutes",
    thisWeek: (/** @type {number} */ minutes, /** @type {number} */ sessions) => `This week: ${plural(minutes, "minute", "minutes")} in ${plural(sessions, "session", "sessions")}. `
      + "Only what was recorded is known; practice without posturewatch counts as none.",
  },

  pieces: {
    title: "Pieces", about: "Your repertoire, least recently played first.", none: "No piece has been named yet. Name what you play on the practice page.", caption: "Pieces, least recently played first",
    lastPlayed: "Last played", played: "Played", never: "never", withinADay: "within a day", daysAgo: (/** @type {number} */ days) => (days === 1 ? "a day ago" : `${days} days ago`),
    weeksAgo: (/** @type {number} */ weeks) => `${weeks} weeks ago`, monthsAgo: (/** @type {number} */ months) => `${months} months ago`, neverPlayed: "Never played in a session.",
    history: (/** @type {string} */ ago, /** @type {string} */ date, /** @type {string} */ time, /** @type {number} */ sessions) => `Last played ${ago} (${date}), ${time} in ${plural(sessions, "session", "sessions")}.`,
    overTime: "Over time", noLimitPassed: "No limit was passed in this piece, as far as it was measured.", chart: "Share of the measured time past each limit, by session",
    lastSession: (/** @type {string} */ shares) => `In the last session: ${shares} of the measured time.`, where: "Where it was played", whereCaption: "Sessions with this piece", wholePiece: "whole piece",
    noClips: "No clip shows this piece yet.", name: "Name", rename: "Rename", delete: "Delete piece", deleteQuestion: (/** @type {string} */ name) => `Delete the piece ${name}?`,
    renameNote: "Renamed to a name that is there already, both become one. A piece with passages in sessions cannot be deleted.",
  },

  data: {
    title: "Your data", about: "Everything lies in one folder of this machine, and nothing leaves it:", storage: "Storage", what: "What", size: "Size",
    numbers: "Measured numbers, passages, marks, notes", numbersShort: "Numbers", damaged: "Set aside: damaged, before an update, replaced", other: "Other files there", total: "Total",
    none: "None.", sessions: "Sessions with their sizes", save: "Save", noClips: "none", fileOf: (/** @type {string} */ kind, /** @type {string} */ when) => `${kind} of ${when}`,
    deleteOf: (/** @type {string} */ when) => `Delete the session of ${when}`, deleteAll: "Delete everything",
    deleteAllWhat: "All sessions, clips, pieces, lists and checks. Your settings stay.", deleteAllQuestion: "Delete all sessions, clips, pieces, lists and checks for good? This cannot be undone.",
  },

  guide: {
    title: "What it means", about: "What each finding means, how well that is known, and what can be tried.", measured: "What is measured", why: "Why it matters",
    tried: "What players and teachers commonly try", practice: "Common practice, without a source: try one thing at a time, and keep what helps you.",
    stop: "When to stop, and whom to ask", stopMore: "Signs to take to a clinician, and whom to ask",
    marks: { F: "seen in an abstract, table or secondary copy of the source", M: "from memory, not seen", D: "derived here" },
    stopFirst: "Pain of 3 or more of 10 while playing: pause. 5 or more: end the session (convention of this program).",
    stopRest: [
      "Numbness or tingling, weakness, fingers that curl by themselves, waking at night from it, locking, swelling, heat, a change of colour, pain at rest, or pain for more than one to two weeks: "
        + "see a clinician; one who knows musicians, where there is one.",
      "A hot, swollen joint with fever, or sudden weakness: a doctor the same day. Chest or arm pain with breathlessness: the emergency number.",
      "With technique: your teacher. This page diagnoses nothing.",
    ],
    cards: [
      {
        id: "flexion", title: "Wrist bent in (flexion)",
        measured: "The angle between forearm and back of the hand, when the palm comes towards the forearm. The wrist is at 0 when both are in line.",
        why: [PRESSURE("48.6 degrees of flexion"), FORCE, WEAK],
        tried: ["Bring the elbow a little forward or away from the body, so that the forearm turns instead of the wrist.",
          "Raise the neck: a footstool, a support or the strap; the hand then reaches the string from a straighter wrist.",
          "Move the thumb lower behind the neck, or across from the second finger, and let it press less.",
          "Take the hard passage slowly, without pressing, and look where the bend begins."],
      },
      {
        id: "extension", title: "Wrist bent back (extension)",
        measured: "The same angle to the other side: the back of the hand comes towards the forearm.",
        why: [PRESSURE("32.7 degrees of extension"), FORCE, WEAK],
        tried: ["Lower the elbow, or let the neck point up less.", "See whether the thumb hooks over the edge and pulls the hand back.",
          "On the plucking side, set the forearm so that the hand hangs from it instead of being held up."],
      },
      {
        id: "ulnar", title: "Wrist towards the little finger (ulnar deviation)",
        measured: "The sideways angle of the hand towards the little finger, seen along the back of the hand.",
        why: [PRESSURE("14.5 degrees towards the little finger"),
          { text: "Bending in and bending to the little finger go together in the wrist, so one often brings the other.", source: "Li 2005", mark: /** @type {const} */ ("F") }, WEAK],
        tried: ["Turn the forearm a little, so that the fingers meet the strings from above instead of from the side.",
          "Bring the elbow nearer to the body for high frets, farther away for low ones.", "Let the hand move along with a stretch, instead of reaching from a fixed thumb."],
      },
      {
        id: "radial", title: "Wrist towards the thumb (radial deviation)",
        measured: "The sideways angle of the hand towards the thumb.",
        why: [PRESSURE("21.8 degrees towards the thumb"), WEAK],
        tried: ["Let the first finger reach back from a hand that stays over the fourth.", "Move the elbow out a little, so that the hand need not lean back to the nut."],
      },
      {
        id: "hold", title: "Held without a break",
        measured: "How long a hold past a limit lasts, how often the wrist comes back near neutral for 2 s or more, and minutes of playing without a rest.",
        why: [{ text: "Short breaks lessen discomfort, best about every 20 minutes, at no cost in what gets done.", source: "McLean 2001, Applied Ergonomics 32:225-237", mark: /** @type {const} */ ("F") },
          { text: "Sudden rises of playing load are among the causes that musicians name most for their troubles.", source: "Frontiers in Psychology 2014;5:706", mark: /** @type {const} */ ("F") }],
        tried: ["After a hard place, let the arm hang for two breaths.", "Five minutes of rest in each 25 to 30 minutes of playing.",
          "Change between pieces that ask different things of the hand.", "After a pause of weeks, begin with less and add a little each week."],
      },
    ],
  },
};
