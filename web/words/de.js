// Die Wörter der Seite auf Deutsch, mit denselben Einträgen wie im Englischen. Was das Programm selbst benennt, steht
// unter `terms`, ganze Sätze des Programms in `sentences/de.js`.

import sentences from "./sentences/de.js";
import settings from "./settings/de.js";
import setup from "./setup/de.js";

/** @import { Level, Side, Terms } from "../js/api.d.ts" */

/**
 * @param {number} count
 * @param {string} one
 * @param {string} many
 */
const plural = (count, one, many) => `${count} ${count === 1 ? one : many}`;

/** @param {number} weeks */
const weeksAgo = (weeks) => (weeks === 0 ? "diese Woche" : weeks === 1 ? "letzte Woche" : `vor ${weeks} Wochen`);

/** @type {Record<Side, string>} */
const sides = { left: "links", right: "rechts" };
/** @type {Record<Side, string>} */
const hands = { left: "Linke Hand", right: "Rechte Hand" };
/** @type {Record<Level, string>} */
const levels = { comfort: "Komfort", extreme: "extrem" };
/** @type {Record<Level, string>} */
const limits = { comfort: "Komfortgrenze", extreme: "Extremgrenze" };
/** @type {Record<string, string>} */
const shareOf = { "playing time": "Spielzeit", "seen time": "gesehenen Zeit" };
const moments = { before: "vor dem Spielen", after: "nach dem Spielen" };

/** @param {string} finger */
const longFinger = (finger) => {
  const advice = { lift: "Lass ihn zur Saite sinken.", ease: "Lass ihn locker.", round: "Runde den Finger ein wenig." };
  return {
    lift: { label: `Höhe des ${finger}s`, words: { lift: `${finger} abgehoben` }, advice: advice.lift },
    pip: { label: `Mittelgelenk des ${finger}s`, words: { bend: `${finger} im Mittelgelenk gebeugt`, collapse: `Mittelgelenk des ${finger}s durchgedrückt` }, advice: advice.ease },
    dip: { label: `Endgelenk des ${finger}s`, words: { bend: `${finger} im Endgelenk gebeugt`, collapse: `Endgelenk des ${finger}s durchgedrückt` }, advice: advice.round },
  };
};
const [index, middle, ring, little] = [longFinger("Zeigefinger"), longFinger("Mittelfinger"), longFinger("Ringfinger"), longFinger("Kleinfinger")];
const BACK = "End\u00adgelenk durch\u00adgedrückt";
const HIGH = "gestreckt und hoch";
/** @param {string} finger */
const back = (finger) => ({ label: `Endgelenk des ${finger}s durchgedrückt, während er unten ist`, words: BACK });
/** @param {string} finger */
const held = (finger) => ({ label: `${finger} gestreckt und hoch, während ein anderer unten ist`, words: HIGH });

/** @type {Terms} */
const terms = {
  quantities: {
    wrist_flexion: { label: "Beugung des Handgelenks", words: { flexion: "Handgelenk gebeugt (Flexion)", extension: "Handgelenk überstreckt (Extension)" }, advice: "Führe es in Richtung gerade." },
    wrist_ulnar_deviation: {
      label: "Abwinkelung des Handgelenks", advice: "Führe es in Richtung gerade.",
      words: { ulnar: "Handgelenk zum kleinen Finger geneigt (Ulnarabduktion)", radial: "Handgelenk zum Daumen geneigt (Radialabduktion)" },
    },
    index_lift: index.lift, index_pip: index.pip, index_dip: index.dip, middle_lift: middle.lift, middle_pip: middle.pip, middle_dip: middle.dip,
    ring_lift: ring.lift, ring_pip: ring.pip, ring_dip: ring.dip, little_lift: little.lift, little_pip: little.pip, little_dip: little.dip,
    little_spread: { label: "Spreizung des Kleinfingers", words: { spread: "Kleinfinger vom Ringfinger abgespreizt" }, advice: "Lass ihn zu den anderen zurückkommen." },
    thumb_ip: { label: "Endgelenk des Daumens", words: { hook: "Daumen im Endgelenk gebeugt", collapse: "Endgelenk des Daumens durchgedrückt" }, advice: "Lass den Daumen locker." },
    thumb_place: {
      label: "Ort des Daumens", advice: "Lass den Daumen dem Mittelfinger wieder gegenüberstehen.",
      words: { radial: "Daumen auf der Seite des Zeigefingers (radial)", ulnar: "Daumen auf der Seite des Kleinfingers (ulnar)" },
    },
  },
  directions: { flexion: "Flexion", extension: "Extension", ulnar: "ulnar", radial: "radial", lift: "Höhe", bend: "gebeugt", collapse: "durchgedrückt", spread: "gespreizt", hook: "gebeugt" },
  fingers: { thumb: "Daumen", index: "Zeige", middle: "Mittel", ring: "Ring", little: "Klein" },
  roles: { fretting: "Greifhand", plucking: "Zupfhand", fingerboard: "Greifhand", bowing: "Bogenhand", keys: "Hand an den Tasten" },
  refusals: {
    hand_not_seen: { name: "Hand nicht zu sehen", help: "Drehe die Kamera so, dass die ganze Hand im Bild ist, bei gutem Licht." },
    hand_too_small: { name: "Hand zu klein im Bild", help: "Stelle die Kamera näher, oder erhöhe die Auflösung." },
    hand_cut_off: { name: "Hand vom Bildrand abgeschnitten", help: "Drehe die Kamera so, dass die ganze Hand im Bild ist." },
    forearm_not_seen: { name: "Unterarm nicht zu sehen", help: "Lass die Kamera neben dem Handgelenk eine Handlänge Unterarm sehen." },
    unusual_view: { name: "Blick, für den nicht kalibriert wurde", help: "Stelle die Kamera vor dich oder zur Kopfplatte hin, etwa in Brusthöhe." },
    too_uncertain: { name: "aus diesem Blick zu unsicher", help: "Stelle die Kamera ein wenig zur Seite, damit sie die Beugung des Gelenks sieht." },
    no_plane: { name: "Ruheebene der Finger noch nicht bekannt", help: "Spiel einige Sekunden weiter, damit zu sehen ist, wie die Finger aufsetzen." },
    not_reported: { name: "aus keinem Blick gut genug zu sehen", help: "Da ist nichts zu tun: Eine Kamera weiß es kaum besser als geraten. Dein Auge oder das einer Lehrkraft kann es." },
    strings_not_seen: { name: "Saiten neben den Fingern nicht zu sehen", help: "Lass die Kamera die Saiten neben den Fingern sehen; oder spiel einige Sekunden weiter, damit zu sehen ist, wie die Finger aufsetzen." },
  },
  planes: { picture: "von den Saiten im Bild", "resting fingertips": "von dort, wo die Fingerkuppen in den letzten Sekunden ruhten" },
  cues: {
    index_end_joint_back: back("Zeigefinger"), middle_end_joint_back: back("Mittelfinger"), ring_end_joint_back: back("Ringfinger"), little_end_joint_back: back("Kleinfinger"),
    index_straight_and_high: held("Zeigefinger"), middle_straight_and_high: held("Mittelfinger"), ring_straight_and_high: held("Ringfinger"), little_straight_and_high: held("Kleinfinger"),
    little_tucked: { label: "Kleinfinger eingerollt", words: "eingerollt" }, little_spread_away: { label: "Kleinfinger abgehoben und weggespreizt", words: "weggespreizt" },
    thumb_opposite: { label: "Daumen gegenüber dem Mittelfinger", words: "gegenüber dem Mittelfinger" }, thumb_hooked: { label: "Daumen eingehakt", words: "eingehakt" },
    thumb_back: { label: "Endgelenk des Daumens durchgedrückt", words: BACK }, still: { label: "20 s oder länger kein Finger bewegt", words: "20 s nicht bewegt" },
  },
  places: {
    thumb: "Daumen", "index finger": "Zeigefinger", "middle finger": "Mittelfinger", "ring finger": "Ringfinger", "little finger": "Kleinfinger", palm: "Handfläche",
    "back of the hand": "Handrücken", "thumb side of the wrist": "Handgelenk, Daumenseite", "palm side of the wrist": "Handgelenk, Handflächenseite", "back of the wrist": "Handgelenk, Rücken",
    "little finger side of the wrist": "Handgelenk, Kleinfingerseite", "inside of the forearm": "Unterarm, innen", "outside of the forearm": "Unterarm, außen", elbow: "Ellbogen",
  },
  signs: {
    "chest or arm pain with breathlessness": "Schmerz in Brust oder Arm mit Atemnot", "hot swollen joint with fever": "ein heißes, geschwollenes Gelenk zusammen mit Fieber", "sudden weakness": "plötzliche Schwäche",
    "numbness or tingling": "Taubheit oder Kribbeln", weakness: "Schwäche", "loss of control": "schmerzloser Verlust der Kontrolle, oder Finger, die sich von selbst einrollen", "night waking": "nächtliches Aufwachen davon",
    locking: "ein Finger oder Gelenk, das hängen bleibt", "swelling, heat or redness": "Schwellung, Hitze oder Rötung", "sudden severe pain or a pop": "plötzlicher starker Schmerz, oder ein Knacken",
    "colour change": "eine Verfärbung", "pain at rest": "Schmerz in Ruhe oder im Alltag", "lasting pain": "Schmerz seit über ein bis zwei Wochen trotz Schonung", "pain from neck or arm": "Schmerz, der vom Nacken oder Arm herabzieht",
  },
  settings,
  noForce: "Eine Kamera sieht keine Kraft: Von Fingern wird gezeigt, wo sie sind, nicht wie fest sie drücken.",
};

const PRESSURE = (/** @type {string} */ until) => ({
  text: `Der Druck im Karpaltunnel steigt mit dem Winkel. In einer Laborstudie blieb er bei drei von vier Personen unter 30 mmHg bis ${until}.`,
  source: "Keir, Bach, Hudes und Rempel 2007, Human Factors 49(1):88-99", mark: /** @type {const} */ ("F"),
});
const FORCE = {
  text: "Das wurde ohne Drücken gemessen. Kraft an der Fingerkuppe, Kneifen und ein ganz ausgedrehter Unterarm erhöhen den Druck weiter; eine Greifhand hat also weniger Spielraum.",
  source: "Rempel 1997 und 1998; Keir 1998", mark: /** @type {const} */ ("F"),
};
const WEAK = {
  text: "Keine Grenze für das Handgelenk ist für das Spielen von Instrumenten geprüft, und Haltung allein ist ein schwaches Zeichen: Kraft und Dauer ohne Pause zählen ebenso, und eine Kamera sieht keine Kraft.",
  source: "siehe die Quellen der Grenzen", mark: /** @type {const} */ ("D"),
};

/** @type {typeof import("./en.js").default} */
export default {
  sentences, setup, sides, hands, levels, limits, terms,
  sided: (side, what) => `${side === "left" ? "Links" : "Rechts"}: ${what}`,
  certain: (amount) => `${amount} sicher`,
  save: "Speichern", cancel: "Abbrechen", change: "Ändern", delete: "Löschen", close: "Schließen", hide: "Ausblenden", note: "Notiz", keepIt: "Behalten",
  numbers: { underOnePercent: "unter 1\u00a0%", overNinetyNinePercent: "über 99\u00a0%", bytes: "Byte" },
  faults: { unreachable: "posturewatch antwortet nicht. Falls es beendet wurde, starte es wieder." },
  keys: { pageUp: "Bild auf", mark: "Leertaste · Eingabe · Bild ab" },
  zones: { within: "im Komfortbereich", beyond: "außer Komfort", extreme: "extrem", unsure: "unsicher", unseen: "nicht gemessen" },
  states: { idle: "–", within: "im Komfort", beyond: "außer Komfort", extreme: "extrem", held: "locker lassen", unsure: "unsicher", partly: "teils zu sehen", unseen: "Hand nicht zu sehen" },

  live: {
    message: "Meldung", picture: "Bild", hands: "Deine Hände", controls: "Bedienung", timePractised: "Geübte Zeit",
    pictureAbout: "Du, gespiegelt, mit den gemessenen Linien von Hand und Unterarm auf dem Bild",
    start: "Start", startAgain: "Neu starten", mark: "Moment merken", stop: "Stopp", mute: "Ton aus", showFingers: "Finger zeigen",
    soundHint: "Ton gibt es nach einem Klick oder Tastendruck auf dieser Seite.", marked: (at) => `Gemerkt ${at}`, watching: "Es wird gemessen.", eased: "Gelockert.",
    warns: "Warnungen", on: "an", off: "aus", notWarnedOf: "Vor ihr wird nicht gewarnt.", warnsNow: (side, on) => `${hands[side]}: Warnungen ${on ? "ein" : "aus"}.`,
    joining: "Verbindung zu posturewatch…", lost: "Verbindung zu posturewatch verloren; neuer Versuch läuft. Falls es beendet wurde, starte es wieder: Aufgenommenes bleibt.",
    stopping: "Es wird beendet und gespeichert…", summaryLate: "Die Zusammenfassung ist noch nicht da; neuer Versuch läuft.", opening: "Die Kamera wird geöffnet…", failed: "Die Sitzung ist gescheitert.", ready: "Bereit.", pressStart: "Drücke Start oder Bild auf.",
    noPicture: "Von der Kamera kommt kein Bild. Ist sie angeschlossen und nicht verdeckt?", noPictureShort: "Es kommt kein Bild.", filmWaits: "Vom Film ist noch kein neues Bild da.",
    empty: { waiting: "Warten auf ein Bild…", stopped: "Hier erscheint dein Spiegelbild. Es verlässt diesen Rechner nie.", pedals: "Ein Fußpedal, das Bild ab sendet, merkt den Moment; eines, das Bild auf sendet, stoppt und startet." },
    limit: (limit) => `Grenze ${limit}`, warning: (what, seconds) => `${what}, seit ${seconds}\u00a0s.`, bothHands: "Beide Hände",
    told: {
      idle: () => "", within: (who) => `${who}: im Komfortbereich.`, beyond: (who) => `${who}: außer Komfort.`, extreme: (who) => `${who}: extremer Winkel des Handgelenks.`,
      held: (who) => `${who}: extremer Winkel des Handgelenks.`, unsure: (who) => `${who}: zu unsicher, um etwas zu sagen.`,
      partly: (who) => `${who}: nicht alles wird gemessen.`, unseen: (who) => `${who}: nicht zu sehen.`,
    },
    mayBePast: (who, quantity) => `${who}: ${quantity} ist zu unsicher, um sie bequem zu nennen.`,
    notMeasured: (who, quantity, why) => `${who}: ${quantity} nicht gemessen, ${why}.`, notSeen: (who, why) => `${who}: ${why}.`,
    framesPerSecond: (count) => `${plural(count, "Bild", "Bilder")} pro Sekunde`, skipped: (count) => `${count} übersprungen`,
  },

  playing: {
    title: "Was du spielst", choose: "Stück und Stelle…", changeTitle: "Ändern, was du spielst, und die Übeliste", previous: "Vorige Stelle", previousTitle: "Vorige der Übeliste (P)",
    next: "Nächste Stelle", nextTitle: "Nächste der Übeliste (N)", noPiece: "kein Stück", piece: "Stück", passage: "Stelle", passages: "Stellen", tempo: "Tempo (bpm)", from: "Von", to: "Bis", now: "jetzt",
    pieceExample: "Name des Stücks", barsExample: "Takte 12-16", noTempo: "ohne", timesExample: "Schreibe Zeiten in Minuten und Sekunden, etwa 3:07,5.", noPassages: "Keine Stellen.", addPassage: "Stelle hinzufügen",
    deleteYes: "Stelle löschen", deleteQuestion: (name) => `Die Stelle ${name} löschen? Das Gemessene bleibt.`, nowPlaying: (what) => `Jetzt ${what}.`, place: (at, of) => `${at} von ${of}`,
    noList: "Es gibt noch keine Übeliste; drücke auf den Namen der Stelle, um eine anzulegen.", nameFirst: "Nenne zuerst das Stück.", playNow: "Jetzt spielen", addToList: "Auf die Liste", playNone: "Kein Stück",
    play: "Spielen", list: "Übeliste", listAbout: "Lege vorher fest, was du spielen wirst.", listKeys: "Beim Spielen geht N zur nächsten und P zur vorigen.", earlier: (name) => `Früher: ${name}`, takeOff: (name) => `Von der Liste nehmen: ${name}`,
  },

  check: {
    title: "Wie fühlt es sich an?", where: "Wo? Tippe auf die Stelle", symptoms: "Eines dieser Anzeichen?", nothingChosen: "Nichts gewählt.", after: "nach dem Spielen", beforeAgain: "vor dem Weiterspielen",
    moreOf: "Wo, und was noch…", ask: { before: "Wie hat es sich vor dem Spielen angefühlt?", after: "Wie fühlt es sich jetzt an?" },
    keep: "Behalten", done: "Fertig", basis: "Worauf das beruht", scale: (low, high) => `${low} ist kein Schmerz, ${high} der schlimmste vorstellbare`, chooseNumber: (low, high) => `Wähle eine Zahl von ${low} bis ${high}.`,
    rated: (rating, moment) => `${rating} von 10 ${moments[moment]}`, kept: (rating, moment) => `Behalten: ${rating} von 10 ${moments[moment]}`, nothingFollows: "Daraus folgt nichts, worauf zu achten wäre.",
    deleteQuestion: "Diese Angabe endgültig löschen?", deleteYes: "Angabe löschen", place: (side, place) => `${sides[side]}: ${place}`,
    views: { palm: (side) => `${hands[side]}, Handfläche`, back: (side) => `${hands[side]}, Handrücken` },
  },

  marks: {
    title: "Gemerktes", one: "gemerkt", none: "Nichts gemerkt.", noNote: "ohne Notiz", add: "Moment hinzufügen", at: "Bei", deleteYes: "Löschen", deleteQuestion: (at) => `Den gemerkten Moment bei ${at} löschen?`,
    timeExample: "Schreibe die Zeit in Minuten und Sekunden, etwa 3:07,5.", count: (count) => (count === 0 ? "Nichts gemerkt" : plural(count, "gemerkter Moment", "gemerkte Momente")),
    how: "Beim Spielen merken Leertaste, Eingabe oder Bild ab den Moment.",
  },

  summary: {
    title: "Üben beendet", more: "Stellen, Clips und woran als Nächstes zu arbeiten ist", howToRead: "Wie das zu lesen ist", warnings: (count) => (count === 0 ? "Keine Warnungen" : plural(count, "Warnung", "Warnungen")),
    headline: (warnings, quantity, share, judged) => `${warnings}; ${quantity} in ${share} der Zeit gemessen, die Hand in ${judged} sicher genug zu beurteilen`, tooLittle: (headline) => `${headline}: zu wenig, um etwas zu sagen.`,
    headlineNothing: (warnings) => `${warnings}; kein Handgelenk gemessen: zu wenig, um etwas zu sagen.`, ofPractice: (time) => `${time} geübt`, source: (name) => `Quelle: ${name}`, keptHere: "Alles bleibt auf diesem Rechner.",
    noneHeld: "Nichts, wovor gewarnt wird, wurde in der gemessenen Zeit über seiner Extremgrenze gehalten.", warningsCaption: "Was über seiner Extremgrenze gehalten und wovor gewarnt wurde", what: "Was", state: "Zustand", peak: "Höchstwert",
    nothingRecorded: "Von dieser Hand wurde nichts aufgenommen.", nothingMeasured: "Nichts wurde gemessen.", neverPast: "Nie länger als einen Augenblick über einer Grenze gesehen.",
    measured: (share, rest) => `${share} der Zeit gemessen.${rest ? ` Der Rest: ${rest}.` : ""}`, statesCaption: (hand, quantity) => `${hand}, ${quantity}: Zeit nach Zustand und Richtung`, ofTheTime: (shares) => `${shares} der Zeit.`,
    spread: (median, low, high) => `Median ${median}; 10. bis 90. Perzentil: ${low} bis ${high}.`, longestHold: (limit, value, direction, time, at) => `Am längsten über der ${limit} gehalten (${value} ${direction}): ${time}, bei ${at}.`,
    cautions: [
      "Das ist nur Haltung. Eine Kamera sieht keine Kraft, und wie fest und wie lange du drückst, zählt ebenso.",
      "Keine Grenze für das Handgelenk ist für das Spielen von Instrumenten geprüft; diese kommen aus Arbeit und Physiologie.",
      "Es ersetzt weder Lehrkraft noch Arzt, und stellt keine Diagnose.",
    ],
    ifItHurts: "Wenn es wehtut, hör auf. Bei Taubheit, Kribbeln, Schwäche oder bleibendem Schmerz: geh zum Arzt.",
    unwarned: (count) => `Keine Warnung, aber ${count}-mal über der Extremgrenze`,
    endings: { stopped: "", "film ended": "bis zum Ende des Films", "time reached": "bis zum Ende der gewählten Zeit", failed: "durch einen Fehler abgebrochen" },
    everyAngle: "Jeder Winkel im Einzelnen", away: (time) => `${time} ohne Bild, nicht mitgezählt`,
    limitsUsed: (name) => `Benutzte Grenzen: ${name}.`, notMeasuredCounts: "Nicht gemessene Zeit zählt als nicht gemessen, nie als bequem.",
    certainMeans: "Im Komfortbereich heißt: Jeder beobachtete Winkel hatte eine Zahl, deren 90-%-Intervall innerhalb der Komfortgrenzen lag; unsicher: Ein Intervall reichte über eine Grenze, oder es gibt keine. Sicher heißt mit mindestens 90 % Wahrscheinlichkeit.",
  },

  timeline: { title: "Das Üben auf einen Blick", of: (hand) => `${hand}: Anteil der Zeit in jedem Zustand, vom Anfang bis zum Ende` },

  overview: {
    holds: (limit) => `Am längsten über der ${limit}`, past: (at) => `darüber, ab ${at}`, peak: (value) => `höchstens ${value}`, notFilmed: "nicht gefilmt", pictureOf: (at) => `Bild bei ${at}`,
    watch: "Das längste ansehen", nothingHeld: "An der Hand am Griffbrett wurde kein Halten über einer Grenze gefunden, soweit sie zu beurteilen war.",
    hardlyJudged: "Die meiste Zeit waren die Winkel zu unsicher, um sie zu beurteilen: Stelle die Kamera etwas anders, so dass Hand und Unterarm von der Seite zu sehen sind.",
    next: (what, limit, count, time, at) => `${what}: ${count === 1 ? "einmal" : `${count}-mal`} über der ${limit}, ${count === 1 ? "" : "am längsten "}${time} ab ${at}.`,
    seeMore: (quantity, share) => (quantity === "" ? "Kein Handgelenk wurde gemessen: Hilf der Kamera, die Hand zu sehen." : `Hilf zuerst der Kamera: ${quantity} wurde in ${share} der Zeit gemessen, zu wenig, um mehr zu sagen.`),
  },

  fingers: {
    title: "Finger", measured: "Gemessen", liftHead: "Höhe", lift: "Was die Höhe ist, in einem Bild", byPassage: "Finger nach Stelle",
    states: { idle: "", within: "Im Bereich", beyond: "Außer Komfort", extreme: "Extrem", held: "Locker", unsure: "Unsicher", partly: "Teils", unseen: "Nicht gemessen" },
    directions: { hook: "gebeugt", collapse: "durchgedrückt" }, notCertain: "zu unsicher für eine Aussage", noLimit: "keine Grenze gesetzt",
    notMeasurable: (why, help) => `nicht gemessen, ${why}. ${help}`, noneNow: (why) => `Finger ${why}`, liftIn: (plane) => `Höhe in mm, ${plane}.`,
    whichHand: "Es ist nicht bekannt, welche Hand am Griffbrett ist; die Einstellungen nennen das Instrument.", notValidated: "Die Grenzen für Finger sind übliche Praxis in Zahlen; niemand hat sie geprüft. Stile sind verschieden.",
    neverGiven: "Nicht gemessen: Das benutzte Modell gab keine Finger, oder die Sitzung ist älter als ihre Messung.", noneInTime: "In dieser Zeit wurden keine Finger gemessen: Das benutzte Modell gab sie nicht, oder die Sitzungen sind älter als ihre Messung.",
    notGiven: "aus keinem Blick gut genug zu sehen", notMeasuredBecause: (why) => `Nicht gemessen: ${why}.`, noLift: (why) => `Die Höhe wurde nicht gemessen: ${why}.`, cellNotMeasured: (why) => `nicht gemessen: ${why}`,
    past: (limit) => `Über ${limit}`, liftCaption: (hand) => `${hand}: Anteil der gemessenen Zeit, in dem jeder Finger über eine Grenze abgehoben war`, sharePast: (share, limit) => `${share} über ${limit}`, alsoPast: "Auch über einer Grenze",
    pastLine: (what, parts, share) => `${what}: ${parts} (${share} der Zeit gemessen).`, planeFor: (plane, time) => `${time} lang ${plane}`, planes: (parts) => `Die Höhe wurde gemessen: ${parts.join(", und ")}.`,
    missing: (why) => `Wo ein Finger nicht gemessen wurde, war dies der Grund: ${why}.`, noCues: "Hinweise waren im Gemessenen nicht zu sehen.", noCueCertain: "Von den Hinweisen, die zu sehen waren, war keiner länger als einen Augenblick sicher.",
    cues: "Hinweise, nach der Zeit, in der sie sicher waren", cueLine: (cue, share, of) => `${cue}: ${share} der ${shareOf[of] ?? of}.`, cueColumn: (cue, of) => `${cue} (Anteil der ${shareOf[of] ?? of})`,
  },

  log: { title: "Übetagebuch", pages: "Seiten", practice: "‹ Üben" },
  charts: { failed: "Die Diagramme konnten nicht geladen werden; die Zahlen stehen in der Tabelle.", date: "Datum", lowest: "tiefster", highest: "höchster", median: "Median", moments: "Clips und Gemerktes" },

  sessions: {
    title: "Sitzungen", session: "Sitzung", caption: "Sitzungen, neueste zuerst", when: "Wann", played: "Stücke", length: "Länge", source: "Quelle", size: "Größe", running: "läuft", demo: "Demo, zählt nicht als Üben", demoFilm: "Demo-Film", camera: "Kamera", film: (name) => `Film „${name}“`, warnings: "Warnungen", extreme: "Über der Extremgrenze", pain: "Schmerz (0 bis 10)",
    about: "Über der Extremgrenze: Anteil der gemessenen Zeit, in der Richtung, in der er am größten war. Gemessen: Anteil der Zeit, des am wenigsten gemessenen Winkels der Griffhand.", recording: "Aufnahme läuft", newer: "‹ Neuere", older: "Ältere ›",
    none: "Noch ist nichts aufgenommen. Starte auf der Übeseite; am Ende steht es hier.",
  },

  films: {
    title: "Ein Film vom Telefon", drop: "Zieh Filme hierher oder wähle sie aus. Sie werden auf diesem Gerät gemessen und zu Übungen; die Filme selbst werden nicht behalten.", choose: "Filme auswählen",
    sending: (/** @type {string} */ share) => `wird kopiert, ${share}`, waiting: "wartet", keeping: "wird abgelegt", kept: "fertig", failed: "konnte nicht gemessen werden", open: "Übung öffnen", remove: "Aus der Liste nehmen",
    measuring: (/** @type {string} */ share) => `wird gemessen, ${share}`, left: (/** @type {string} */ time) => `noch etwa ${time}`, waits: "Während du übst, warten die Filme.",
    list: "Filme, die abgegeben wurden", tooLarge: (/** @type {string} */ name, /** @type {string} */ most) => `${name} ist größer als ${most}; schneide ihn oder nimm: posturewatch analyse.`, piece: "Was gespielt wird (darf leer bleiben)", bars: "Takte",
  },

  comparison: {
    title: "Neben einem anderen Üben", about: "Wähle ein Üben desselben Stücks oder einen Clip derselben Takte, zum Beispiel dein bestes.", choose: "Üben oder Clip zum Vergleichen", practices: "Üben", clips: "Clips",
    short: "Ein Clip dauert wenige Sekunden; die Zahlen dort sind die dieser Sekunden.", nothing: "keines", caption: "Dieses Üben neben einem anderen, Stelle für Stelle",
    what: "Stelle und Winkel", now: "Median hier", then: "Median dort", difference: "Unterschied", extreme: "Über der Extremgrenze, hier / dort", noneAlike: "Dieselben Takte kommen nicht in beiden vor.",
    differs: (/** @type {string} */ by, /** @type {string} */ most) => `${by}, mehr als die Unsicherheit von ${most}`, tooClose: (/** @type {string} */ by, /** @type {string} */ most) => `${by}, innerhalb der Unsicherheit von ${most}: nicht zu unterscheiden`,
    tooLittle: (/** @type {string} */ share) => `${share} der Zeit gemessen: zu wenig, um etwas zu sagen`, otherLimits: "Die beiden wurden nach verschiedenen Grenzen beurteilt; ihre Anteile bedeuten nicht dasselbe.",
    note: "Zwei Aufnahmen sind zwei Blickwinkel, und der Fehler jeder Aufnahme ist meist eine Konstante ihres Blickwinkels. Vergleiche Aufnahmen, bei denen die Kamera am selben Ort stand.",
  },

  remarks: {
    title: "Anmerkungen anderer", yours: "Deine Anmerkungen zu diesem Üben", none: "Noch keine Anmerkungen.", whole: "alles", add: "Anmerkung hinterlassen", text: "Anmerkung", at: "Bei (m:ss, leer für alles)", deleteQuestion: "Diese Anmerkung löschen?",
    come: "Anmerkungen, die eine Lehrkraft zu deinem Üben hinterlassen hat, kommen in einer Datei zurück, deren Name auf -notes.json endet.", choose: "Datei mit Anmerkungen wählen", noNotes: (/** @type {string} */ name) => `${name} ist keine Datei mit Anmerkungen.`,
    taken: (/** @type {number} */ added, /** @type {number} */ known, /** @type {number} */ strange) => [`${plural(added, "neue Anmerkung", "neue Anmerkungen")}.`, known > 0 ? `${known} waren schon da.` : "", strange > 0 ? `${strange} gehören zu Übungen, die hier nicht liegen.` : ""].filter(Boolean).join(" "),
    shared: (/** @type {string} */ file, /** @type {string} */ notes) => `Das ist das Üben von jemand anderem, aus ${file}. Nichts wird geändert oder behalten; deine Anmerkungen kommen in ${notes}.`,
  },

  report: {
    title: "Bericht für Lehrkraft oder Arzt", open: "Bericht…", name: "Name der Spielerin oder des Spielers (darf leer bleiben)", kind: "Als", of: "Über", save: "Speichern", cancel: "Abbrechen",
    kinds: /** @type {Record<string, string>} */ ({ a4: "PDF, A4", letter: "PDF, US-Letter", html: "Webseite", clips: "Webseite mit den Filmen darin", bundle: "Paket mit Clips, für eine Lehrkraft mit posturewatch" }),
    about: (/** @type {number} */ weeks) => (weeks === 0 ? "dieses Üben" : `dieses Üben und das der ${weeks} Wochen davor`),
    shows: "Er zeigt Bilder von dir und ist auf Englisch. Er wird auf diesem Gerät gespeichert; gib ihn nur weiter, für wen er gedacht ist.", working: "Wird geschrieben…",
  },

  session: {
    edit: "Stellen und Gemerktes ändern", of: (when) => `Sitzung vom ${when}`, running: "Diese Sitzung läuft noch; was sie ergibt, wird am Ende ausgerechnet.", noClips: "Kein Moment dieser Sitzung wurde gefilmt. Gehaltene extreme Winkel und Gemerktes werden Clips.", felt: "Wie es sich anfühlte",
    lostSamples: (count) => `${plural(count, "Messwert konnte", "Messwerte konnten")} nicht behalten werden`, saveAs: (kind) => `Als ${kind} speichern`, print: "Drucken", delete: "Sitzung löschen",
    deleteQuestion: (when) => `Die Sitzung vom ${when} endgültig löschen, mit ihren Clips?`, states: "Zeit nach Zustand und Richtung",
    statesNote: "Anteile an der gemessenen Zeit; beide Richtungen eines Handgelenks ergeben 100 %. Im Komfortbereich: Das 90-%-Intervall liegt innerhalb der Komfortgrenzen; unsicher: Es reicht über eine Grenze.",
    howMuch: "Wie viel gemessen wurde, und warum der Rest nicht", measured: (share, rest) => `${share === null ? "nicht gemessen" : `${share} der Zeit gemessen`}${rest ? `; der Rest: ${rest}` : ""}.`, nothingMeasured: "In dieser Sitzung wurde nichts gemessen.",
    byPassage: "Nach Stelle", byPassageCaption: "Belastung nach Stelle", noPassages: "Keine Stelle wurde genannt. Nenne unter dem Bild, was du spielst, oder füge unten Stellen hinzu: Dann sagt diese Tabelle, wo es war.",
    noLimitInAny: "In keiner davon wurde eine Grenze überschritten.", overTime: "Im Verlauf", overTimeOf: (line) => `${line} im Verlauf`,
    overTimeNote: "Durchgezogen: Extremgrenzen; gestrichelt: Komfortgrenzen. Nach oben Flexion oder ulnar, nach unten Extension oder radial; bei Fingern nach oben abgehoben oder gebeugt, nach unten durchgedrückt. Wo die Linie abbricht, wurde nichts gemessen.",
  },

  finding: {
    title: "Woran als Nächstes zu arbeiten ist",
    said: ({ what, share, where, limit, nowhere, elsewhere }) => `${what}: in ${share} von ${where} über ${limit}; ${nowhere === null ? `sonst in ${elsewhere}` : `sonst nirgends in mehr als ${nowhere}`}.`,
    watch: (clip) => `Clip ${clip} ansehen`, meaning: "Was das bedeutet", tryFirst: "Oft zuerst versucht:",
    facts: (share, here, elsewhere) => `In ${share} der Stelle gemessen (${here}), verglichen mit ${elsewhere} anderswo. Dieser Anteil gewichtet jeden Winkel mit seiner Unsicherheit; die Tabellen unten können etwas abweichen.`,
  },

  detail: {
    title: "Im Einzelnen", caption: "Über jeder Grenze", noLimitPassed: "Keine Grenze wurde überschritten, soweit gemessen wurde.", limit: "Grenze", timePast: "Zeit darüber", longestHold: "Am längsten gehalten", times: "Überschreitungen",
    excess: "Mehrwinkel × Zeit", spreadCaption: "Streuung und Pausen", quantity: "Größe", p10: "10. Perzentil", median: "Median", p90: "90. Perzentil", rests: "Pausen pro Minute",
    note: "Am längsten gehalten: die Zeit über der Grenze in einer Überschreitung. Überschreitungen enden, wenn die Hand deutlich zurück ist; Augenblicke davor, in denen sie knapp innerhalb war, zählen nicht als Zeit darüber. Mehrwinkel × Zeit: Grad über der Grenze mal Sekunden. Pausen: mindestens 2 s nahe der Mitte. "
      + "Nur Haltung: Eine Kamera sieht keine Kraft, und die zählt ebenso.",
    variation: "Wie lange bei welchem Winkel ohne Unterbrechung (exposure variation)", angle: "Winkel", over: (time) => `über ${time}`, below: (value) => `unter ${value}`, above: (value) => `über ${value}`, between: (low, high) => `${low} bis ${high}`,
  },

  clips: {
    title: "Clips", one: "Clip", about: "Kurze Videos von gehaltenen extremen Winkeln und von Gemerktem, neueste zuerst. Die ältesten weichen neuen; behaltene bleiben.",
    none: "Es gibt noch keine Clips. Beim Üben werden gehaltene extreme Winkel und Gemerktes zu kurzen Videos.", yourMark: "gemerkter Moment", kept: "behalten", held: (what) => `Gehalten: ${what}`, extreme: (what) => `Extrem: ${what}`,
    numbered: (at, what) => `Clip ${at} · ${what}`, at: (time) => `bei ${time}`, missing: "das Video fehlt", removed: "für neuere Clips entfernt", there: "",
  },

  player: {
    title: "Abspielen", play: "Abspielen", pause: "Pause", speeds: { 0.25: "¼ Tempo", 0.5: "½ Tempo", 1: "Volles Tempo" }, loop: "Schleife", overlay: "Winkel über dem Bild", mirrored: "Gespiegelt", sound: "Ton",
    back: "‹ Bild", forward: "Bild ›", leftArrow: "Pfeil links", rightArrow: "Pfeil rechts", whichLine: "Welche Linie", keys: "Tasten: Leertaste spielt und hält an, ← und → gehen bildweise, 1, 2 und 3 stellen das Tempo, L die Schleife, O zeigt den Winkel.",
    filmGone: "Das Video dieses Clips ist nicht mehr da; seine Winkel schon.", clock: (at, of) => `${at} von ${of} s`, traceLabel: (line) => `${line ?? "Nichts wurde gemessen"} über die Zeit; Pfeiltasten gehen bildweise`,
  },

  review: {
    title: "Ansehen", choose: "Wähle einen Clip aus der Liste der Clips.", sideBySide: "Nebeneinander", compareWith: "Vergleichen mit", onlyOne: "nur ein Clip", noOther: "Es gibt noch keinen anderen Clip zum Vergleichen.",
    inStep: "Beide Clips laufen im Gleichschritt, sodass die Momente, für die sie gemacht wurden, zusammenfallen.", kept: "Wird behalten.", notKept: "Wird nicht mehr behalten.", keep: "Behalten: nie für neuere entfernen",
    saveNote: "Notiz speichern", download: "Clip herunterladen", saved: "gespeichert", notSaved: "noch nicht gespeichert", deleteQuestion: "Diesen Clip endgültig löschen?", which: { only: "Dieser Clip", first: "Dieser erste Clip", second: "Dieser zweite Clip" },
    delete: { only: "Clip löschen", first: "Ersten Clip löschen", second: "Zweiten Clip löschen" },
  },

  trends: {
    title: "Verlauf", spans: { 13: "drei Monate", 26: "ein halbes Jahr", 52: "ein Jahr", 156: "drei Jahre" }, none: "In dieser Zeit wurde nichts aufgenommen; nach den ersten Sitzungen steht hier, wie sich Wochen vergleichen.",
    waiting: (count) => `${plural(count, "Sitzung ist", "Sitzungen sind")} noch nicht ausgerechnet; öffne die Seite gleich noch einmal.`, line: (what, level) => `${what}, über der ${limits[level]}`, short: (what, level) => `${what}, ${levels[level]}`,
    weekTitle: "Die letzte gemessene Woche", weekNone: "In den letzten beiden Wochen, die gemessen wurden, war kein Handgelenk über einer Extremgrenze.", weekUnknown: "In keiner Woche wurde genug gemessen, um sie zu vergleichen.",
    week: (what, now, ago, before, worst) => `${what}: über der Extremgrenze ${weeksAgo(ago)} ${now} der gemessenen Zeit${before ? ` (${weeksAgo(before.ago)}: ${before.share})` : ""}${worst ? `; am meisten in „${worst.piece}“ (${worst.share})` : ""}.`,
    more: "Mehr", pain: "Wie es sich anfühlte", painNone: "Noch hat niemand gesagt, wie es sich anfühlte; die Seite fragt vor und nach dem Spielen.", painChart: "Höchste Angabe jedes Tages, 0 ist kein Schmerz, 10 der schlimmste",
    painAt: { before: "vor dem Spielen", after: "nach dem Spielen" }, painAll: "Alle Angaben",
    painLast: (day, before, after) => `Zuletzt: ${[before === null ? "" : `${before} von 10 vor`, after === null ? "" : `${after} von 10 nach`].filter(Boolean).join(", ")} dem Spielen, ${day}.`,
    byDirection: "Nach Richtung", byPiece: "Nach Stück", byPieceCaption: "Anteil der gemessenen Zeit über jeder Grenze, nach Stück", leastRecentFirst: "Am längsten nicht Gespieltes zuerst.",
    chart: (title) => `${title}: Anteil der gemessenen Zeit über jeder Grenze, nach Woche`, caption: (title) => `${title}: Wochen verglichen`, direction: "Richtung", previousWeek: "Vorige Woche", lastWeek: "Letzte Woche", change: "Änderung",
    slope: "Neigung pro Woche", noChange: "keine", points: (value) => `${value} Punkte`, noLimitPassed: "In keiner Woche, die mindestens fünf Minuten gemessen wurde, wurde eine Grenze überschritten.", noPiece: "In dieser Zeit wurde kein Stück genannt.",
    about: "Anteil der gemessenen Zeit. Eine Woche mit weniger als fünf gemessenen Minuten hat keinen Anteil und zeigt sich als Lücke; verglichen werden die letzten zwei, die einen haben. Die Neigung ist der Median der Änderungen von Woche zu Woche, ab vier Wochen.",
    minutes: "Minuten pro Woche", minutesChart: "Aufgenommene Minuten nach Woche", minutesUnit: "Minuten",
    thisWeek: (minutes, sessions) => `Diese Woche: ${plural(minutes, "Minute", "Minuten")} in ${plural(sessions, "Sitzung", "Sitzungen")}. Nur Aufgenommenes ist bekannt; Üben ohne posturewatch zählt nicht.`,
  },

  pieces: {
    title: "Stücke", about: "Dein Repertoire, am längsten nicht Gespieltes zuerst.", none: "Noch ist kein Stück genannt. Nenne auf der Übeseite, was du spielst.", caption: "Stücke, am längsten nicht Gespieltes zuerst", lastPlayed: "Zuletzt gespielt",
    played: "Gespielt", never: "nie", withinADay: "innerhalb eines Tages", daysAgo: (days) => (days === 1 ? "vor einem Tag" : `vor ${days} Tagen`), weeksAgo: (weeks) => `vor ${weeks} Wochen`, monthsAgo: (months) => `vor ${months} Monaten`,
    neverPlayed: "In keiner Sitzung gespielt.", history: (ago, date, time, sessions) => `Zuletzt ${ago} gespielt (${date}), ${time} in ${plural(sessions, "Sitzung", "Sitzungen")}.`, overTime: "Im Verlauf",
    noLimitPassed: "In diesem Stück wurde keine Grenze überschritten, soweit gemessen wurde.", chart: "Anteil der gemessenen Zeit über jeder Grenze, nach Sitzung", lastSession: (shares) => `In der letzten Sitzung: ${shares} der gemessenen Zeit.`,
    where: "Wo es gespielt wurde", whereCaption: "Sitzungen mit diesem Stück", wholePiece: "ganzes Stück", noClips: "Noch zeigt kein Clip dieses Stück.", name: "Name", rename: "Umbenennen", delete: "Stück löschen",
    deleteQuestion: (name) => `Das Stück ${name} löschen?`, renameNote: "Mit einem Namen, den es schon gibt, werden beide eins. Ein Stück mit Stellen in Sitzungen kann nicht gelöscht werden.",
  },

  data: {
    title: "Deine Daten", about: "Alles liegt in einem Ordner dieses Rechners, und nichts verlässt ihn:", storage: "Speicher", what: "Was", size: "Größe", numbers: "Messwerte, Stellen, Gemerktes, Notizen", numbersShort: "Zahlen",
    damaged: "Beiseitegelegt: beschädigt, vor einer Aktualisierung, ersetzt", other: "Andere Dateien dort", total: "Gesamt", none: "Keine.", sessions: "Sitzungen mit ihren Größen", save: "Speichern", noClips: "keine", fileOf: (kind, when) => `${kind} vom ${when}`,
    deleteOf: (when) => `Die Sitzung vom ${when} löschen`, deleteAll: "Alles löschen", deleteAllWhat: "Alle Sitzungen, Clips, Stücke, Listen und Angaben. Deine Einstellungen bleiben.",
    deleteAllQuestion: "Alle Sitzungen, Clips, Stücke, Listen und Angaben endgültig löschen? Das kann nicht rückgängig gemacht werden.",
  },

  guide: {
    title: "Was es bedeutet", about: "Was jeder Befund bedeutet, wie gut das bekannt ist, und was versucht werden kann.", measured: "Was gemessen wird", why: "Warum es zählt", tried: "Was Spieler und Lehrkräfte gewöhnlich versuchen",
    practice: "Übliche Praxis, ohne Quelle: Versuche eines nach dem anderen, und behalte, was dir hilft.", stop: "Wann aufhören, und wen fragen", stopMore: "Anzeichen für den Arzt, und wen fragen",
    marks: { F: "in einer Zusammenfassung, Tabelle oder zweiten Fassung der Quelle gesehen", M: "aus dem Gedächtnis, nicht gesehen", D: "hier abgeleitet" },
    stopFirst: "Schmerz ab 3 von 10 beim Spielen: Pause. Ab 5: Sitzung beenden (Regel dieses Programms).",
    stopRest: [
      "Taubheit oder Kribbeln, Schwäche, Finger, die sich von selbst einrollen, nächtliches Aufwachen, Hängenbleiben, Schwellung, Hitze, Verfärbung, Schmerz in Ruhe, oder Schmerz über mehr als ein bis zwei Wochen: zum Arzt; "
        + "wo es das gibt, zu einem für Musiker.",
      "Ein heißes, geschwollenes Gelenk mit Fieber, oder plötzliche Schwäche: am selben Tag zum Arzt. Schmerz in Brust oder Arm mit Atemnot: der Notruf.", "Zur Technik: deine Lehrkraft. Diese Seite stellt keine Diagnose.",
    ],
    cards: [
      {
        id: "flexion", title: "Handgelenk gebeugt (Flexion)", measured: "Der Winkel zwischen Unterarm und Handrücken, wenn die Handfläche zum Unterarm kommt. Das Handgelenk steht bei 0, wenn beide in einer Linie sind.",
        why: [PRESSURE("48,6 Grad Flexion"), FORCE, WEAK],
        tried: ["Nimm den Ellbogen etwas nach vorn oder vom Körper weg, damit sich der Unterarm dreht statt des Handgelenks.", "Hebe den Hals an: Fußbank, Stütze oder Gurt; die Hand erreicht die Saite dann aus einem geraderen Handgelenk.",
          "Setze den Daumen tiefer hinter den Hals, oder gegenüber dem zweiten Finger, und lass ihn weniger drücken.", "Nimm die schwere Stelle langsam, ohne Druck, und schau, wo die Beugung beginnt."],
      },
      {
        id: "extension", title: "Handgelenk überstreckt (Extension)", measured: "Derselbe Winkel zur anderen Seite: Der Handrücken kommt zum Unterarm.", why: [PRESSURE("32,7 Grad Extension"), FORCE, WEAK],
        tried: ["Senke den Ellbogen, oder lass den Hals weniger nach oben zeigen.", "Schau, ob der Daumen über die Kante hakt und die Hand zurückzieht.", "Auf der Zupfseite: Lege den Unterarm so auf, dass die Hand von ihm hängt, statt gehalten zu werden."],
      },
      {
        id: "ulnar", title: "Handgelenk zum kleinen Finger (Ulnarabduktion)", measured: "Der seitliche Winkel der Hand zum kleinen Finger, entlang des Handrückens gesehen.",
        why: [PRESSURE("14,5 Grad zum kleinen Finger"), { text: "Beugen und Neigen zum kleinen Finger gehen im Handgelenk zusammen; eines bringt oft das andere.", source: "Li 2005", mark: /** @type {const} */ ("F") }, WEAK],
        tried: ["Drehe den Unterarm ein wenig, damit die Finger die Saiten von oben treffen statt von der Seite.", "Nimm den Ellbogen für hohe Lagen näher an den Körper, für tiefe weiter weg.", "Lass die Hand bei einer Streckung mitgehen, statt von einem festen Daumen aus zu greifen."],
      },
      {
        id: "radial", title: "Handgelenk zum Daumen (Radialabduktion)", measured: "Der seitliche Winkel der Hand zum Daumen.", why: [PRESSURE("21,8 Grad zum Daumen"), WEAK],
        tried: ["Lass den ersten Finger aus einer Hand zurückgreifen, die über dem vierten bleibt.", "Nimm den Ellbogen etwas nach außen, damit sich die Hand nicht zum Sattel zurückneigen muss."],
      },
      {
        id: "hold", title: "Gehalten ohne Unterbrechung", measured: "Wie lange über einer Grenze gehalten wird, wie oft das Handgelenk für mindestens 2 s nahe zur Mitte zurückkommt, und Minuten ohne Pause.",
        why: [{ text: "Kurze Pausen verringern Beschwerden, am besten etwa alle 20 Minuten, ohne dass weniger geschafft wird.", source: "McLean 2001, Applied Ergonomics 32:225-237", mark: /** @type {const} */ ("F") },
          { text: "Plötzlich viel mehr zu spielen gehört zu den Ursachen, die Musiker für ihre Beschwerden am häufigsten nennen.", source: "Frontiers in Psychology 2014;5:706", mark: /** @type {const} */ ("F") }],
        tried: ["Lass den Arm nach einer schweren Stelle zwei Atemzüge lang hängen.", "Fünf Minuten Pause in je 25 bis 30 Minuten Spiel.", "Wechsle zwischen Stücken, die Verschiedenes von der Hand verlangen.", "Fange nach Wochen ohne Spielen mit weniger an, und gib jede Woche etwas dazu."],
      },
    ],
  },
};
