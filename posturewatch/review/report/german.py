"""The words of reports in German. What stands here for names of the program is what the page calls them in German."""

from __future__ import annotations

__all__ = ["GERMAN", "MONTHS"]

MONTHS = ("Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August", "September", "Oktober", "November",
    "Dezember")  # fmt: skip

_NAMES = {
    "left": "links",
    "right": "rechts",
    "hand": "Hand",
    "left hand": "linke Hand",
    "right hand": "rechte Hand",
    "fretting hand": "Greifhand",
    "plucking hand": "Zupfhand",
    "bow hand": "Bogenhand",
    "wrist flexion": "Beugung des Handgelenks",
    "wrist deviation": "Abwinkelung des Handgelenks",
    "wrist bent in (flexion)": "Handgelenk gebeugt (Flexion)",
    "wrist bent back (extension)": "Handgelenk überstreckt (Extension)",
    "wrist tilted to the little finger (ulnar deviation)": "Handgelenk zum kleinen Finger geneigt (Ulnarabduktion)",
    "wrist tilted to the thumb (radial deviation)": "Handgelenk zum Daumen geneigt (Radialabduktion)",
    "flexion": "Flexion",
    "extension": "Extension",
    "ulnar": "ulnar",
    "radial": "radial",
    "comfort": "Komfort",
    "extreme": "extrem",
    "comfort limit": "Komfortgrenze",
    "extreme limit": "Extremgrenze",
    "in comfort": "im Komfort",
    "unsure": "unsicher",
    "past comfort": "außer Komfort",
    "partly seen": "teils zu sehen",
    "not seen": "nicht zu sehen",
    "demo film": "Demo-Film",
    "camera": "Kamera",
    "pressure in the carpal tunnel": "Druck im Karpaltunnel",
    "Angles that keep the pressure in the carpal tunnel below 25 mmHg (comfort) and below 30 mmHg (extreme; protects "
    "three of four people), measured without fingertip force; a hand that presses strings has less margin.": "Winkel, "
    "bei denen der Druck im Karpaltunnel unter 25 mmHg (Komfort) und unter 30 mmHg (extrem; schützt drei von vier "
    "Personen) bleibt, gemessen ohne Kraft der Fingerkuppen; eine Hand, die Saiten drückt, hat weniger Spielraum.",
    "ISO 11064-4, control rooms": "ISO 11064-4, Leitwarten",
    "One bound of 30 degrees for flexion and extension, taken as the extreme limit; the source names none for "
    "deviation, so deviation has no limit here.": "Eine Grenze von 30 Grad für Flexion und Extension, hier als "
    "Extremgrenze; für die Abwinkelung nennt die Quelle keine, also hat sie hier keine.",
    "ISO 11228-3, awkward postures": "ISO 11228-3, ungünstige Haltungen",
    "The bounds beyond which the standard calls a wrist posture awkward, taken as extreme limits; it has no lower "
    "class.": "Die Grenzen, über denen die Norm eine Haltung des Handgelenks ungünstig nennt, hier als Extremgrenzen; "
    "eine niedrigere Klasse hat sie nicht.",
    "RULA wrist score": "RULA, Punkte für das Handgelenk",
    "RULA raises its wrist score beyond 15 degrees of flexion or extension, far below an extreme; it is taken as a "
    "comfort limit only, so this profile shows exposure and never warns.": "RULA gibt dem Handgelenk mehr Punkte über "
    "15 Grad Flexion oder Extension, weit unter einem Extrem; das gilt hier nur als Komfortgrenze, also zeigt dieses "
    "Profil die Belastung und warnt nie.",
    "Strain Index posture ratings": "Strain Index, Stufen der Haltung",
    "Comfort ends where the rating turns from good to fair, extreme begins where it turns from fair to bad; the "
    "ratings have no class for radial deviation.": "Komfort endet, wo die Stufe von gut zu mäßig wechselt, extrem "
    "beginnt, wo sie von mäßig zu schlecht wechselt; für die Radialabduktion gibt es keine Stufen.",
    "Washington State checklist": "Checkliste des Staates Washington",
    "The checklist for hazardous wrist postures with grip or repetition, taken as extreme limits; it has no lower "
    "class and none for radial deviation.": "Die Checkliste für gefährliche Haltungen des Handgelenks mit Greifen "
    "oder Wiederholung, hier als Extremgrenzen; eine niedrigere Klasse hat sie nicht, und keine für die "
    "Radialabduktion.",
}

_REFUSALS = {
    "hand not seen": "Hand nicht zu sehen",
    "hand too small in the picture": "Hand zu klein im Bild",
    "hand cut off by the edge of the picture": "Hand vom Bildrand abgeschnitten",
    "forearm not seen": "Unterarm nicht zu sehen",
    "view unlike any it was calibrated for": "Blick, für den nicht kalibriert wurde",
    "too uncertain from this view": "aus diesem Blick zu unsicher",
    "no picture": "kein Bild",
    "Turn the camera so that the whole hand is in the picture, in good light.": "Drehe die Kamera so, dass die ganze "
    "Hand im Bild ist, bei gutem Licht.",
    "Move the camera closer, or raise the resolution.": "Stelle die Kamera näher, oder erhöhe die Auflösung.",
    "Turn the camera so that the whole hand is in the picture.": "Drehe die Kamera so, dass die ganze Hand im Bild "
    "ist.",
    "Let the camera see a hand's length of forearm beside the wrist.": "Lass die Kamera neben dem Handgelenk eine "
    "Handlänge Unterarm sehen.",
    "Place the camera in front of you or towards the headstock, at about chest height.": "Stelle die Kamera vor dich "
    "oder zur Kopfplatte hin, etwa in Brusthöhe.",
    "Move the camera a little to the side, so that it sees the joint's bend.": "Stelle die Kamera ein wenig zur "
    "Seite, damit sie die Beugung des Gelenks sieht.",
}

_FELT = {
    "{side} {place}": "{place} {side}",
    "thumb": "Daumen",
    "index finger": "Zeigefinger",
    "middle finger": "Mittelfinger",
    "ring finger": "Ringfinger",
    "little finger": "Kleinfinger",
    "palm": "Handfläche",
    "back of the hand": "Handrücken",
    "thumb side of the wrist": "Handgelenk, Daumenseite",
    "palm side of the wrist": "Handgelenk, Handflächenseite",
    "back of the wrist": "Handgelenk, Rücken",
    "little finger side of the wrist": "Handgelenk, Kleinfingerseite",
    "inside of the forearm": "Unterarm, innen",
    "outside of the forearm": "Unterarm, außen",
    "elbow": "Ellbogen",
    "chest or arm pain with breathlessness": "Schmerz in Brust oder Arm mit Atemnot",
    "a hot, swollen joint together with fever": "ein heißes, geschwollenes Gelenk zusammen mit Fieber",
    "sudden weakness": "plötzliche Schwäche",
    "numbness or tingling": "Taubheit oder Kribbeln",
    "weakness": "Schwäche",
    "painless loss of control, or fingers curling by themselves": "schmerzloser Verlust der Kontrolle, oder Finger, "
    "die sich von selbst einrollen",
    "waking at night from it": "nächtliches Aufwachen davon",
    "a finger or joint that locks": "ein Finger oder Gelenk, das hängen bleibt",
    "swelling, heat or redness": "Schwellung, Hitze oder Rötung",
    "sudden severe pain, or a pop": "plötzlicher starker Schmerz, oder ein Knacken",
    "a change of colour": "eine Verfärbung",
    "pain at rest or in daily tasks": "Schmerz in Ruhe oder im Alltag",
    "pain for more than one to two weeks despite rest": "Schmerz seit über ein bis zwei Wochen trotz Schonung",
    "pain that comes down from the neck or the arm": "Schmerz, der vom Nacken oder Arm herabzieht",
    "discomfort before playing {rating} of 10": "Beschwerden vor dem Spielen: {rating} von 10",
    "discomfort after playing {rating} of 10": "Beschwerden nach dem Spielen: {rating} von 10",
    "; warning signs: {signs}": "; Warnzeichen: {signs}",
    "{when}, mark at {at}: {note}": "{when}, gemerkt bei {at}: {note}",
    "before {rating}": "vorher {rating}",
    "after {rating}": "nachher {rating}",
}

_SENTENCES = {
    "{side} {words}": "{side}: {words}",
    "{side}, {label}": "{side}, {label}",
    "{side}: {label}": "{side}: {label}",
    "No warnings": "Keine Warnungen",
    "1 warning": "1 Warnung",
    "{count} warnings": "{count} Warnungen",
    "No warnings, but 1 hold past an extreme limit": "Keine Warnungen, aber einmal über einer Extremgrenze gehalten",
    "No warnings, but {count} holds past an extreme limit": "Keine Warnungen, aber {count}-mal über einer Extremgrenze "
    "gehalten",
    "{said}; no wrist was measured: too little to say.": "{said}; kein Handgelenk gemessen: zu wenig, um etwas zu "
    "sagen.",
    "{said}; {angle} of the {hand} measured {share} of the time, certain enough to judge the hand {judged} of the "
    "time": "{said}; {hand}: {angle} in {share} der Zeit gemessen, die Hand in {judged} sicher genug zu beurteilen",
    "{told}: too little to say.": "{told}: zu wenig, um etwas zu sagen.",
    "{told}.": "{told}.",
    "The {what}: past the {limit} once, for {time}, from {at}.": "{what}: einmal über der {limit}, {time} ab {at}.",
    "The {what}: past the {limit} {count} times, the longest for {time}, from {at}.": "{what}: {count}-mal über der "
    "{limit}, am längsten {time} ab {at}.",
    "{what}: in {share} of {where} past {limit}; otherwise in {elsewhere}.": "{what}: in {share} von {where} über "
    "{limit}; sonst in {elsewhere}.",
    "{what}: in {share} of {where} past {limit}; nowhere else in more than {nowhere}.": "{what}: in {share} von "
    "{where} über {limit}; sonst nirgends in mehr als {nowhere}.",
    "Too little was measured to say what to work on; help the camera first.": "Zu wenig wurde gemessen, um zu sagen, "
    "woran zu arbeiten ist; hilf zuerst der Kamera.",
    "Most of the time the angles were too uncertain to judge; help the camera first.": "Die meiste Zeit waren die "
    "Winkel zu unsicher, um sie zu beurteilen; hilf zuerst der Kamera.",
    "No hold past a limit was found to show. Time that was unsure or not seen may have had some.": "Kein Halten über "
    "einer Grenze war zu finden. In unsicherer oder nicht gesehener Zeit kann es welches gegeben haben.",
    "No hold past a limit was found of the {hand}, in the {share} of the time in which it could be judged.": "{hand}: "
    "kein Halten über einer Grenze gefunden, in den {share} der Zeit, in denen sie zu beurteilen war.",
    "Of the {hand} too little could be judged to say.": "{hand}: zu wenig war zu beurteilen, um es zu sagen.",
    "Too little could be judged to say whether a wrist was held past a limit.": "Zu wenig war zu beurteilen, um zu "
    "sagen, ob ein Handgelenk über einer Grenze gehalten wurde.",
    "No hand was recorded.": "Keine Hand wurde aufgenommen.",
    "The view was good: {angle} was measured {share} of the time.": "Der Blick war gut: {angle} in {share} der Zeit "
    "gemessen.",
    "The view was fair: {angle} was measured {share} of the time.": "Der Blick war mäßig: {angle} in {share} der Zeit "
    "gemessen.",
    "The view was poor: {angle} was measured {share} of the time.": "Der Blick war schlecht: {angle} in {share} der "
    "Zeit gemessen.",
    "In {share} of the time an angle was too near a limit, for how exact it is, to say on which side of it: "
    "this counts as unsure, never as comfortable.": "In {share} der Zeit war ein Winkel einer Grenze zu nah, um bei "
    "dieser Genauigkeit zu sagen, auf welcher Seite er lag: das zählt als unsicher, nie als bequem.",
    "Most of the rest: {reason} ({time}).": "Der Rest vor allem: {reason} ({time}).",
    "In this practice the interval mostly reached {reach}° to either side.": "In dieser Sitzung reichte das Intervall "
    "meist {reach}° zu beiden Seiten.",
    "{low} to {high}": "{low} bis {high}",
    "{middle} ({low} to {high})": "{middle} ({low} bis {high})",
    "{value} at its peak": "{value} am höchsten Punkt",
    ", probably between {low} and {high}": ", wahrscheinlich zwischen {low} und {high}",
    "; it may have been inside the {limit} of {value}": "; vielleicht noch innerhalb der {limit} von {value}",
    "; beyond the {limit} of {value} all the same": "; in jedem Fall über der {limit} von {value}",
    "Past it for {time} in all.": "Insgesamt {time} darüber.",
    "There was a warning.": "Davor wurde gewarnt.",
    "Drawn: thick, forearm and hand at the peak; grey, the 90 % interval; thin, the extreme limit, and dotted, that of "
    "comfort.": "Gezeichnet: dick Unterarm und Hand am höchsten Punkt; grau das 90-%-Intervall; dünn die "
    "Extremgrenze, gepunktet die Komfortgrenze.",
    "In the pictures: dashed and blue, the forearm, solid and yellow, the hand, as they are seen in that one picture; "
    "a camera foreshortens, so the measured angle cannot be read off there.": "In den Bildern: gestrichelt und blau "
    "der Unterarm, durchgezogen und gelb die Hand, wie sie in diesem einen Bild zu sehen sind; eine Kamera verkürzt, "
    "der gemessene Winkel ist dort also nicht abzulesen.",
    "Wrist posture in the practice of {when}": "Haltung der Handgelenke beim Üben am {when}",
    "Wrist posture in {count} practices of {when}": "Haltung der Handgelenke in {count} Sitzungen am {when}",
    "Wrist posture in {count} practices, {first} to {last}": "Haltung der Handgelenke in {count} Sitzungen, {first} "
    "bis {last}",
    "This is posture only. A camera cannot see force, and how hard and how long one presses matter as much.": "Das ist "
    "nur Haltung. Eine Kamera sieht keine Kraft, und wie fest und wie lange man drückt, zählt ebenso.",
    "No wrist-angle limit has been validated for playing an instrument; those used here come from work and physiology. "
    "Sources disagree on which direction is worse.": "Keine Grenze für Winkel des Handgelenks ist für das Spielen von "
    "Instrumenten geprüft; die hier benutzten kommen aus Arbeit und Physiologie. Welche Richtung schlechter ist, "
    "darin sind sich die Quellen nicht einig.",
    "It diagnoses nothing, and replaces neither a teacher nor a clinician. A report without warnings is no proof of a "
    "healthy hand.": "Es stellt keine Diagnose und ersetzt weder Lehrkraft noch Arzt. Ein "
    "Bericht ohne Warnungen beweist keine gesunde Hand.",
    "If it hurts, stop. Numbness or tingling, weakness, fingers that curl or lose control, pain at night "
    "or at rest, locking, swelling, or pain of more than one to two weeks in spite of rest: see a "
    "clinician. A hot swollen joint with fever, or sudden weakness: the same day. Chest or arm pain with "
    "breathlessness: the emergency number. (General medical knowledge; local rules come first.)": "Wenn es wehtut, "
    "aufhören. Bei Taubheit oder Kribbeln, Schwäche, Fingern, die sich einrollen oder nicht gehorchen, Schmerz in der "
    "Nacht oder in Ruhe, Hängenbleiben, Schwellung, oder Schmerz seit über ein bis zwei Wochen trotz Schonung: zum "
    "Arzt. Ein heißes, geschwollenes Gelenk mit Fieber, oder plötzliche Schwäche: am selben Tag. Schmerz in Brust oder "
    "Arm mit Atemnot: die Notrufnummer. (Allgemeines medizinisches Wissen; örtliche Regeln gehen vor.)",
    "Angles are estimated from an ordinary camera. Each has a 90 % interval: in about nine of ten cases "
    "the true angle lies inside it. For comparison: a goniometer laid on the wrist by hand was 6 to 7 degrees "
    "off what X-rays show (Carter 2009, J Hand Surg Am 34:1422-1428). The error of one film is mostly the same "
    "throughout, so comparing moments of one "
    "practice is safer than trusting a single number. Time that could not be measured "
    "counts as not measured, never as comfortable.": "Die Winkel sind aus einer gewöhnlichen Kamera geschätzt. Jeder "
    "hat ein 90-%-Intervall: In etwa neun von zehn Fällen liegt der wahre Winkel darin. Zum Vergleich: Ein von "
    "Hand angelegtes Goniometer wich am Handgelenk um 6 bis 7 Grad von Röntgenbildern ab (Carter 2009, J Hand Surg Am "
    "34:1422-1428). Der Fehler eines Films ist meist durchweg derselbe; Momente einer Sitzung zu "
    "vergleichen ist also sicherer, als einer einzelnen Zahl zu trauen. Nicht "
    "gemessene Zeit zählt als nicht gemessen, nie als bequem.",
    "In comfort: every wrist angle had a number whose whole 90 % interval lay inside the comfort limits. "
    "Unsure: an interval reached past a limit. Past comfort, extreme: the measured angle lay beyond that "
    "limit; how much of that is certain stands in the table of wrist angles. "
    "Partly seen: some angle could not be measured. Not seen: none could.": "Im Komfort: Jeder Winkel des Handgelenks "
    "hatte eine Zahl, deren ganzes 90-%-Intervall innerhalb der Komfortgrenzen lag. Unsicher: Ein Intervall reichte "
    "über eine Grenze. Außer Komfort, extrem: Der gemessene Winkel lag über dieser Grenze; wie "
    "viel davon sicher ist, steht in der Tabelle der Winkel. Teils zu sehen: Ein Winkel war nicht "
    "zu messen. Nicht zu sehen: keiner.",
    "Angles as the International Society of Biomechanics defines them (Wu et al. 2005, J Biomech "
    "38:981-992): the hand, from the wrist to the knuckle at the base of the middle finger, against the "
    "forearm. Flexion and ulnar deviation are positive, extension and radial deviation negative, for both "
    "hands alike; at 0 the hand is in line with the forearm.": "Winkel, wie die International "
    "Society of Biomechanics sie festlegt (Wu et al. 2005, J Biomech "
    "38:981-992): die Hand, vom Handgelenk zum Grundgelenk des Mittelfingers, gegen den Unterarm. Flexion und "
    "Ulnarabduktion sind positiv, Extension und Radialabduktion negativ, für beide Hände gleich; bei 0 liegt die "
    "Hand in einer Linie mit dem Unterarm.",
}

_LAYOUT = {
    "Hand and angle": "Hand und Winkel",
    "Measured": "Gemessen",
    "Least measured": "Am wenigsten gemessen",
    "Median (10th to 90th percentile); uncertainty": "Median (10. bis 90. Perzentil); Unsicherheit",
    "Direction": "Richtung",
    "Comfort, extreme limit": "Grenze: Komfort, extrem",
    "Past comfort": "Über Komfort",
    "Past extreme": "Über extrem",
    "Of it certain": "Davon sicher",
    "Longest past extreme": "Am längsten über extrem",
    "{time} of practice": "{time} geübt",
    "source: {name}": "Quelle: {name}",
    "not measured: {reason}": "nicht gemessen: {reason}",
    "not measured": "nicht gemessen",
    "no limit": "keine Grenze",
    "(extreme {share})": "(extrem {share})",
    "Measured with posturewatch {version}, report of {day}.": "Gemessen mit posturewatch {version}, Bericht vom {day}.",
    "This report shows pictures of the player: pass it on only to those it is meant for.": "Dieser Bericht zeigt "
    "Bilder der spielenden Person: Gib ihn nur an die weiter, für die er gedacht ist.",
    "The practices": "Die Sitzungen",
    "When": "Wann",
    "Length": "Länge",
    "In short": "Kurz",
    "{hand} by state": "{hand} nach Zustand",
    "Discomfort, 0–10": "Beschwerden, 0–10",
    "Discomfort": "Beschwerden",
    "The practice of {when} from beginning to end": "Das Üben am {when} von Anfang bis Ende",
    "From beginning to end": "Von Anfang bis Ende",
    "▼ a warning: an angle was held past its extreme limit for long enough (3 s unless the player set it "
    "otherwise).": "▼ eine Warnung: Ein Winkel wurde lange genug über seiner Extremgrenze gehalten (3 s, wenn nicht "
    "anders eingestellt).",
    "Share of the time": "Anteil der Zeit",
    "Wrist angles": "Winkel der Handgelenke",
    "Median: half of the measured time the angle was above it, half below; for four fifths of that time it lay "
    "in the range in brackets; after ±, how far the 90 % interval mostly reached. Shares are "
    "of the measured time. Of it certain: past the extreme limit with a "
    "probability of at least 90 %. Longest past extreme: in one hold. A dash: no such time.": "Median: Die halbe "
    "gemessene Zeit lag der Winkel darüber, die halbe darunter; vier Fünftel dieser Zeit lag er im Bereich in "
    "Klammern; nach ±, wie weit das 90-%-Intervall meist reichte. Anteile "
    "sind solche der gemessenen Zeit. Davon sicher: mit mindestens 90 % Wahrscheinlichkeit über der "
    "Extremgrenze. Am längsten über extrem: während eines einzigen Haltens. Ein Strich: keine solche Zeit.",
    "Passage": "Stelle",
    "Played": "Gespielt",
    "Past a limit": "Über einer Grenze",
    "Least measured: in which share of it the angle that was seen worst had a number.": "Am wenigsten gemessen: in "
    "welchem Anteil davon der am schlechtesten gesehene Winkel eine Zahl hatte.",
    "By passage": "Nach Stellen",
    "{count} more are in the web page's report.": "{count} weitere stehen im Bericht als Webseite.",
    "Moments": "Momente",
    "Longest past the {limit}": "Am längsten über der {limit}",
    "No picture of it was kept.": "Davon ist kein Bild behalten.",
    "Picture at {at}": "Bild bei {at}",
    "Over the weeks": "Über die Wochen",
    "Over the weeks: past the extreme limit": "Über die Wochen: über der Extremgrenze",
    "{what}, share of the measured time past the extreme limit": "{what}, Anteil der gemessenen Zeit über der "
    "Extremgrenze",
    "{what}, share of the measured time": "{what}, Anteil der gemessenen Zeit",
    "Weeks with too little measured are left out.": "Wochen, in denen zu wenig gemessen wurde, sind ausgelassen.",
    "What the player noted": "Was beim Spielen vermerkt wurde",
    "Notes": "Notizen",
    "room for notes": "Platz für Notizen",
    "What is typed here stays only once this page is saved or printed.": "Was hier getippt wird, bleibt nur, wenn die "
    "Seite gespeichert oder gedruckt wird.",
    "{at} after the beginning": "{at} nach Beginn",
    "Limits used": "Benutzte Grenzen",
    "Limits": "Grenzen",
    "Source": "Quelle",
    "How to read this": "Wie das zu lesen ist",
    "the player's own": "eigene Grenzen",
    "session {ids} · report of {day}": "Sitzung {ids} · Bericht vom {day}",
    "page {number}": "Seite {number}",
    "nothing was recorded": "nichts wurde aufgenommen",
    "fills: {names}": "Füllungen: {names}",
    "states of both hands over the practice of {when}": "Zustände beider Hände beim Üben am {when}",
    "{angle} of {value}, {words}, extreme limit {limit}": "{angle} von {value}, {words}, Extremgrenze {limit}",
    "straight": "gerade",
    "forearm": "Unterarm",
    "share of measured time by week: {what}": "Anteil der gemessenen Zeit nach Wochen: {what}",
}

#: By the English text.
GERMAN: dict[str, str] = {**_NAMES, **_REFUSALS, **_FELT, **_SENTENCES, **_LAYOUT}
