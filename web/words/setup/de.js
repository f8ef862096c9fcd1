// Die Wörter der Seiten vor dem Üben auf Deutsch: was eingerichtet wird, und die Einstellungen.

/** @type {typeof import("./en.js").default} */
export default {
  title: "Vor dem Start", intro: "Noch wird nichts aufgenommen.", link: "Einrichten", settings: "Einstellungen", log: "Übetagebuch", practice: "Übeseite",
  running: "Es wird gerade aufgenommen.", preview: "Bild der Kamera", previewAbout: "Du, gespiegelt, so wie die Kamera dich sieht, mit den gemessenen Linien von Hand und Unterarm",
  phase: { off: "Die Kamera ist aus.", opening: "Die Kamera wird geöffnet…", failed: "Die Kamera ließ sich nicht öffnen." },
  again: "Noch einmal versuchen", start: "Start", startIn: (seconds) => `Start in ${seconds} s`,
  starting: (seconds) => `Start in ${seconds}…`, stopCountdown: "Doch nicht starten", opening: "Es geht los…",
  skip: "Ab jetzt sofort starten", skipAbout: "Diese Seite findest du wieder unter „Einrichten“.",
  change: "Ändern",
  play: {
    title: "Was du spielst", instrument: "Instrument", handedness: "Spielst du rechts- oder linkshändig?",
    right: "Rechtshändig", left: "Linkshändig", rightAbout: "Die linke Hand ist am Griffbrett.", leftAbout: "Die rechte Hand ist am Griffbrett.",
    does: (hand, role) => `${hand}: ${role}`,
    keys: "beide Hände an den Tasten",
  },
  camera: {
    title: "Kamera und Ton", which: "Kamera", numbered: (number) => `Kamera ${number}`, inUse: "von einem anderen Programm oder diesem benutzt",
    none: "Keine Kamera gefunden. Schließe eine an und suche noch einmal; auch der Strom eines Telefons geht.", look: "Noch einmal nach Kameras suchen", looking: "Es wird nach Kameras gesucht…",
    stream: "Adresse eines Telefons oder einer Netzwerkkamera", streamAbout: "Eine App auf dem Telefon zeigt sie an, etwa http://192.168.1.20:8080/video", use: "Diese Adresse benutzen",
    other: (source) => `Jetzt in Benutzung: ${source}`, size: "Bildgröße", rate: "Bilder je Sekunde", gives: (width, height, rate) => `Die Kamera liefert ${width} × ${height}${rate}.`,
    atRate: (rate) => ` mit ${rate} Bildern je Sekunde`, microphone: "Clips haben den Ton des Mikrofons",
    microphoneAbout: "Es hört nur zu, während geübt wird.", mirrored: "Die Kamera selbst spiegelt das Bild (Schrift läuft rückwärts)",
    where: "Wohin mit ihr", place: (place, distance) => `${place}, etwa ${distance} m entfernt.`,
    drawing: "Von oben gesehen: du, dein Instrument und die Kamera", you: "du", goodFor: (hands) => `Sieht am besten: ${hands}.`, both: "beide Hände",
  },
};
