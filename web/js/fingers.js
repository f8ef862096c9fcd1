// Words of the fingers, wherever they are shown.

/** As posturewatch/phrases.py has it. */
export const NO_FORCE = "A camera does not see force: what is reported of fingers is where they are, not how hard they press.";

/** Digits in the order of the hand, as players of strings call those of the hand that stops them. */
export const FINGERS = [["thumb", "T"], ["index", "1"], ["middle", "2"], ["ring", "3"], ["little", "4"]];

export const fingerNumber = (finger) => FINGERS.find(([name]) => name === finger)?.[1] ?? "";

/** Roles of the hand that stops strings, as posturewatch/instruments.py has them. */
export const STOPPING_ROLES = ["fretting", "stopping"];

const PLANE_WORDS = {
  picture: "from the strings in the picture",
  "resting fingertips": "from where the fingertips rested in the last seconds",
};

/** What lifts were measured from, in words. */
export const planeWords = (plane) => PLANE_WORDS[plane] ?? plane;

/** Entries about fingers; the wrist's have their own place. */
export const fingersOnly = (entries) => entries.filter((entry) => entry.group === "finger");
