// The cards of "know before it hurts": one per kind of finding. mark: F seen in an abstract, table or secondary copy of
// the source; M from memory, not seen; "common practice": what players and teachers do, without a source.

const PRESSURE = {
  text: "Pressure in the carpal tunnel rises with the angle. In one laboratory study it stayed below 30 mmHg in three of four people",
  source: "Keir, Bach, Hudes and Rempel 2007, Human Factors 49(1):88-99", mark: "F",
};
const FORCE = {
  text: "That was measured without pressing. Fingertip force, pinching and a fully turned-out forearm raise the pressure further, so a hand that stops strings has less margin.",
  source: "Rempel 1997 and 1998; Keir 1998", mark: "F",
};
const WEAK = {
  text: "No wrist limit has been validated for players of instruments, and posture alone is a weak sign: force and how long without a rest matter as much, and a camera sees no force.",
  source: "see the limits' own sources", mark: "D",
};

export const STOP = [
  "Pain of 3 or more of 10 while playing: pause. 5 or more: end the session (convention of this program).",
  "Numbness or tingling, weakness, fingers that curl by themselves, waking at night from it, locking, swelling, heat, a change of colour, "
    + "pain at rest, or pain for more than one to two weeks: see a clinician; one who knows musicians, where there is one.",
  "A hot, swollen joint with fever, or sudden weakness: a doctor the same day. Chest or arm pain with breathlessness: the emergency number.",
  "With technique: your teacher. This page diagnoses nothing.",
];

export const CARDS = [
  {
    id: "flexion", title: "Wrist bent in (flexion)",
    measured: "The angle between forearm and back of the hand, when the palm comes towards the forearm. The wrist is at 0 when both are in line.",
    why: [{ ...PRESSURE, text: `${PRESSURE.text} up to 48.6 degrees of flexion.` }, FORCE, WEAK],
    tried: ["Bring the elbow a little forward or away from the body, so that the forearm turns instead of the wrist.",
      "Raise the neck: a footstool, a support or the strap; the hand then reaches the string from a straighter wrist.",
      "Move the thumb lower behind the neck, or across from the second finger, and let it press less.",
      "Take the hard passage slowly, without pressing, and look where the bend begins."],
  },
  {
    id: "extension", title: "Wrist bent back (extension)",
    measured: "The same angle to the other side: the back of the hand comes towards the forearm.",
    why: [{ ...PRESSURE, text: `${PRESSURE.text} up to 32.7 degrees of extension.` }, FORCE, WEAK],
    tried: ["Lower the elbow, or let the neck point up less.", "See whether the thumb hooks over the edge and pulls the hand back.",
      "On the plucking side, set the forearm so that the hand hangs from it instead of being held up."],
  },
  {
    id: "ulnar", title: "Wrist towards the little finger (ulnar deviation)",
    measured: "The sideways angle of the hand towards the little finger, seen along the back of the hand.",
    why: [{ ...PRESSURE, text: `${PRESSURE.text} up to 14.5 degrees towards the little finger.` },
      { text: "Bending in and bending to the little finger go together in the wrist, so one often brings the other.", source: "Li 2005", mark: "F" }, WEAK],
    tried: ["Turn the forearm a little, so that the fingers meet the strings from above instead of from the side.",
      "Bring the elbow nearer to the body for high frets, farther away for low ones.", "Let the hand move along with a stretch, instead of reaching from a fixed thumb."],
  },
  {
    id: "radial", title: "Wrist towards the thumb (radial deviation)",
    measured: "The sideways angle of the hand towards the thumb.",
    why: [{ ...PRESSURE, text: `${PRESSURE.text} up to 21.8 degrees towards the thumb.` }, WEAK],
    tried: ["Let the first finger reach back from a hand that stays over the fourth.", "Move the elbow out a little, so that the hand need not lean back to the nut."],
  },
  {
    id: "hold", title: "Held without a break",
    measured: "How long a stay beyond a limit lasts, how often the wrist comes back near neutral for 2 s or more, and minutes of playing without a rest.",
    why: [{ text: "Short breaks lessen discomfort, best about every 20 minutes, at no cost in what gets done.", source: "McLean 2001, Applied Ergonomics 32:225-237", mark: "F" },
      { text: "Sudden rises of playing load are among the causes that musicians name most for their troubles.", source: "Frontiers in Psychology 2014;5:706", mark: "F" }],
    tried: ["After a hard place, let the arm hang for two breaths.", "Five minutes of rest in each 25 to 30 minutes of playing.",
      "Change between pieces that ask different things of the hand.", "After a pause of weeks, begin with less and add a little each week."],
  },
];
