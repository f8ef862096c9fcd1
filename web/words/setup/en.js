// The words of the pages before a practice, in English: what is set up, and the settings.

export default {
  title: "Before you start", intro: "Nothing is recorded yet.", link: "Set up", settings: "Settings", log: "Practice log", practice: "Practice page",
  running: "A session is running.", preview: "Camera picture", previewAbout: "You, mirrored, as the camera sees you, with the measured hand and forearm lines",
  phase: { off: "The camera is off.", opening: "Opening the camera…", failed: "The camera could not be opened." },
  again: "Try again", start: "Start", startIn: (/** @type {number} */ seconds) => `Start in ${seconds} s`,
  starting: (/** @type {number} */ seconds) => `Starting in ${seconds}…`, stopCountdown: "Do not start", opening: "Starting…",
  skip: "From now on, start at once", skipAbout: "You find this page again under “Set up”.",
  change: "Change",
  play: {
    title: "What you play", instrument: "Instrument", handedness: "Are you right-handed or left-handed?",
    right: "Right-handed", left: "Left-handed", rightAbout: "The left hand is on the fingerboard.", leftAbout: "The right hand is on the fingerboard.",
    does: (/** @type {string} */ hand, /** @type {string} */ role) => `${hand}: ${role}`,
    keys: "both hands on the keys",
  },
  camera: {
    title: "Camera and sound", which: "Camera", numbered: (/** @type {string} */ number) => `Camera ${number}`, inUse: "in use by another program, or this one",
    none: "No camera was found. Connect one, then look again; a phone's stream works too.", look: "Look for cameras again", looking: "Looking for cameras…",
    stream: "A phone's or network camera's address", streamAbout: "An app on the phone shows it, such as http://192.168.1.20:8080/video", use: "Use this address",
    other: (/** @type {string} */ source) => `In use now: ${source}`, size: "Picture size", rate: "Frames a second", gives: (/** @type {number} */ width, /** @type {number} */ height, /** @type {string} */ rate) => `The camera gives ${width} × ${height}${rate}.`,
    atRate: (/** @type {number} */ rate) => ` at ${rate} frames a second`, microphone: "Clips carry the microphone's sound",
    microphoneAbout: "It listens only while a session runs.", mirrored: "The camera itself mirrors the picture (writing reads backwards)",
    where: "Where to put it", place: (/** @type {string} */ place, /** @type {string} */ distance) => `${place}, about ${distance} m away.`,
    drawing: "Seen from above: you, your instrument and the camera", you: "you", goodFor: (/** @type {string} */ hands) => `Sees best: ${hands}.`, both: "both hands",
  },
};
