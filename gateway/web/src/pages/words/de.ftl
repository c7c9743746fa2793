# Every visible sentence in German.

## Around every page

skip = Zum Inhalt springen
nav = Seiten
nav-worklist = Arbeitsliste
nav-scan = Scannen
nav-stencils = Schablonen
nav-machines = Maschinen
nav-alarms = Alarme
nav-unattributed = Nicht zugeordnet
nav-wear = Verschleiß
interlock-note = Die Verriegelungen dieses Gateways schützen die Qualität. Sie sind keine Sicherheitsfunktionen: Was Menschen schützt, darf nicht von ihnen abhängen.
zone-note = Zeiten gelten in der Zone { $zone }.
about = Über diese Seiten
stale = Zurzeit nicht live: Was Sie sehen, kann veraltet sein. Laden Sie die Seite neu.
to-worklist = Zur Arbeitsliste
missing = Nicht bekannt
missing-stencil = Keine Schablone { $name } ist bekannt: Prüfen Sie den Code.
missing-machine = Keine Maschine { $name } ist bekannt: Prüfen Sie den Namen.
missing-event = Es gibt kein Ereignis { $name }: Nennen Sie es mit seiner Nummer im Protokoll.
stopping = Das Gateway hält gerade an
stopping-detail = Es antwortet nicht mehr. Wo Skripte laufen, kommt die Seite von selbst wieder.
try-again = Noch einmal versuchen
unread = Das Protokoll lässt sich nicht lesen
unread-detail = { $cause }. Sehen Sie nach dem Datenträger und laden Sie die Seite dann neu.
about-what = Stencilward steht zwischen den Maschinen einer Fertigung und den Menschen, die ihre Lotpastenschablonen betreuen. Es weiß, wo jede Schablone ist, ob sie sauber ist, wie verschlissen sie ist und ob sie verwendet werden darf.
about-shapes = Kreise sagen, wie sauber eine Schablone ist, Säulen, wie verschlissen, Quadrate, ob sie überhaupt verwendet werden darf, Nadeln, wo sie ist. Je kräftiger die Tinte, desto eher muss jemand handeln. Farbe sagt nichts, was nicht auch Wort und Form sagen.
about-version = Version { $version }.
unit-day = T.
unit-hour = Std.
unit-minute = Min.
yes = ja
no = nein

## Condition

dimension-place = Wo
dimension-cleanliness = Sauberkeit
dimension-wear = Verschleiß
dimension-standing = Status
cleanliness-clean = sauber
cleanliness-printed = bedruckt
cleanliness-washing = in der Wäsche
cleanliness-unknown = unbekannt
standing-released = freigegeben
standing-on-hold = gesperrt
standing-concession = Sonderfreigabe
standing-retired = ausgemustert
band-in-service = im Einsatz
band-reorder = nachbestellen
band-stopped = am Ende
place-slot = Fach { $slot } von { $machine }
place-printer = im Drucker { $machine }
place-washer = in der Waschanlage { $machine }
place-in-hand = in jemandes Händen
place-unknown = unbekannt
chart-nothing = Es gibt noch nichts zu zeichnen.

## Worklist

worklist-title = Arbeitsliste der Schicht
scan-something = Etwas scannen
worklist-now = Jetzt
worklist-now-nothing = Nichts drängt.
worklist-soon = In dieser Schicht
worklist-soon-nothing = Nichts weiter in dieser Schicht.
worklist-later = Wartet auf eine Entscheidung
worklist-later-nothing = Nichts wartet.
worklist-refused = In den letzten acht Stunden verweigert
worklist-refused-nothing = Nichts wurde verweigert.
do-wash = { $stencil } waschen
do-find = { $stencil } suchen
do-decide-hold = Über { $stencil } entscheiden: gesperrt
do-link = Verbindung zu { $machine } wiederherstellen
do-fault = Nach einer Störung von { $machine } sehen
do-printer = { $machine } darf mit { $stencil } nicht drucken
do-assign = Sagen, wessen { $strokes } Hübe es sind
do-alarms = Alarme quittieren: { $count }
made-at = Gemacht an { $machine }; niemand weiß, mit welcher Schablone.
by-when = Bis
overdue-since = Überfällig seit
since = seit
lost-since = Nicht gesehen, wo sie sein sollte, seit
why-dried = In den Öffnungen kann Paste getrocknet sein: { $strokes } Hübe seit der letzten Wäsche.
why-printed = Hübe seit der letzten Wäsche: { $strokes }.
why-unclear = Niemand weiß, ob sie sauber ist.

## Decisions

may-store-permitted = Darf eingelagert werden
may-store-refused = Darf nicht eingelagert werden
may-take-permitted = Darf entnommen werden
may-take-refused = Darf nicht entnommen werden
may-print-permitted = Darf zum Drucken verwendet werden
may-print-refused = Darf nicht zum Drucken verwendet werden

## Reasons: what is wrong and what to do

reason-unknown-stencil = Keine Schablone { $stencil } steht in der Liste: Prüfen Sie den Scan oder tragen Sie die Schablone erst ein.
reason-nothing-seated = Niemand hat die Schablone im Drucker erkannt: Scannen Sie sie.
reason-seat-unconfirmed = { $stencil } war im Drucker, bevor die Verbindung abriss, und niemand hat es seither bestätigt: Scannen Sie die Schablone, die jetzt darin ist.
reason-unwashed = Seit der letzten Wäsche bedruckt (Hübe: { $strokes }): Waschen Sie sie zuerst.
reason-unwashed-unsure = Sie kann seit der letzten Wäsche gedruckt haben: Waschen Sie sie zuerst.
reason-cleanliness-unknown = Niemand weiß, ob sie sauber ist: Waschen Sie sie.
reason-washing = Ihre Wäsche ist nicht zu Ende: Warten Sie auf die Waschanlage.
reason-wash-too-old = Vor { $age-seconds } gewaschen, { $allowed-seconds } sind erlaubt: Waschen Sie sie noch einmal.
reason-on-hold = Gesperrt ({ $why }; von { $by }): Lassen Sie die Sperre aufheben.
reason-worn-out = Am Ende ihrer Lebensdauer ({ $strokes } von { $rated-strokes } Hüben, { $washes } Wäschen): Nehmen Sie ihre Nachfolgerin oder bitten Sie die Leitung um eine Sonderfreigabe.
reason-concession-used-up = Die { $strokes } Hübe der Sonderfreigabe sind verbraucht: Nehmen Sie ihre Nachfolgerin.
reason-retired = Ausgemustert: Nehmen Sie ihre Nachfolgerin.
reason-tension-overdue = Ihre Spannung wurde seit { $allowed-seconds } nicht gemessen: Messen Sie sie.
reason-tension-too-low = Spannung { $measured-centi } N/cm, mindestens { $lowest-centi } N/cm sind nötig: Lassen Sie sie nachspannen oder ersetzen.
reason-wrong-product = Der Auftrag druckt { $asked }, diese Schablone ist für { $stencil-for }: Nehmen Sie die richtige.
reason-wrong-side = Der Auftrag druckt die Seite „{ $asked }“, diese Schablone ist für „{ $stencil-for }“: Nehmen Sie die richtige.
reason-wrong-revision = Der Auftrag druckt Revision { $asked }, diese Schablone ist für { $stencil-for }: Nehmen Sie die richtige.
reason-not-for-order = Auftrag { $order } nennt andere Schablonen: Nehmen Sie eine von diesen.
reason-unknown-order = Kein Auftrag { $order } ist bekannt: Prüfen Sie die Nummer oder lassen Sie ihn freigeben.
reason-unknown-order-none = Schablonen werden nur für einen Auftrag entnommen: Nennen Sie den Auftrag.
reason-elsewhere = Sie gilt als anderswo ({ $place }): Sehen Sie dort nach oder scannen Sie sie dort erst heraus.
reason-slot-taken = Fach { $slot } enthält { $holds }: Wählen Sie ein anderes.
reason-slot-promised = Fach { $slot } wartet auf { $to }, die jetzt dorthin darf: Wählen Sie ein anderes.
reason-promised = { $to } hat zuerst gefragt und darf sie bis { $until } entnehmen: Sprechen Sie sich ab, oder nehmen Sie eine andere.
reason-not-taken = Sie kam ohne erlaubte Entnahme zum Drucker: Bringen Sie sie zurück und fragen Sie nach ihr.
reason-too-many-strokes-since-wash = { $strokes } Hübe seit der letzten Wäsche, { $allowed } sind erlaubt: Waschen Sie sie.
reason-too-long-since-wash = { $seconds } seit der letzten Wäsche, { $allowed-seconds } sind erlaubt: Waschen Sie sie.
reason-not-a-rack = { $machine } ist in der Konfiguration kein Lagerregal: Nennen Sie eines oder keines.
reason-on-trial = { $machine } läuft zur Probe und ändert nichts: Nehmen Sie trial aus der Konfiguration und laden Sie neu.

## Events

event-stencil-registered = Eingetragen für { $product }, { $starting-strokes } von { $rated-strokes } Hüben gemacht, sauber: { $clean } ({ $source })
event-stencil-revised = Geändert: für { $product }, ausgelegt auf { $rated-strokes } Hübe ({ $source })
event-strokes-booked = Hübe an { $machine }: { $count } (nach: { $basis })
event-strokes-checked = Hübe an { $machine } zum Vergleich: { $count } (nach: { $basis })
event-bases-disagreed = { $machine }: { $booked } Hübe gebucht, { $checked } nach { $checked-by }; am ehesten: { $likely }
event-strokes-assigned = { $count } Hübe von { $of } an { $machine } zugeordnet von { $by }: { $why }
event-strokes-written-off = { $count } Hübe von { $of } an { $machine } ausgebucht von { $by }: { $why }
event-strokes-corrected = { $corrects } berichtigt von { $was } auf { $is } Hübe von { $by }: { $why }
event-wash-annulled = { $corrects } war keine Wäsche, sagt { $by }: { $why }
event-wipes-counted = Unterseitenreinigungen an { $machine }: { $count }
event-wear-band-entered = Verschleiß ist jetzt: { $band }, bei { $strokes } Hüben
event-seated = In Drucker { $machine } eingelegt{ $said ->
    [yes] {" "}(laut { $by })
   *[no] {""}
 }
event-loaded = In Waschanlage { $machine } eingelegt{ $said ->
    [yes] {" "}(laut { $by })
   *[no] {""}
 }
event-removed = Aus { $machine } herausgenommen{ $said ->
    [yes] {" "}(laut { $by })
   *[no] {""}
 }
event-lost-sight = Nicht mehr, wo sie sein sollte: { $why }
event-wash-began = Wäsche begann an { $machine }, Programm { $programme }
event-wash-ended = Wäsche { $outcome } an { $machine }, Programm { $programme }{ $said ->
    [yes] {" "}(gemeldet von { $by })
   *[no] {""}
 }
event-wash-unmatched = { $machine } meldete eine Wäsche, die zu keiner Schablone passt: { $why }
event-stored = Eingelagert in Fach { $slot } von { $rack }
event-slot-found = Gefunden in Fach { $slot } von { $rack }
event-storage-breached = Ohne Erlaubnis eingelagert in Fach { $slot } von { $rack }: { $reasons }
event-taken = Entnommen aus Fach { $slot } von { $rack }, erlaubt: { $permitted }
event-slot-cleared = Fach { $slot } von { $rack } ist wieder leer
event-decided-permitted = Erlaubt: { $rule }{ $said ->
    [yes] {" "}(gefragt von { $by })
   *[no] {""}
 }
event-decided-refused = Verweigert: { $rule }{ $said ->
    [yes] {" "}(gefragt von { $by })
   *[no] {""}
 }: { $reasons }
event-hold-placed = Gesperrt von { $by }: { $why }
event-hold-released = Sperre aufgehoben von { $by }: { $why }
event-concession-granted = { $ends ->
    [yes] Sonderfreigabe für { $strokes } Hübe bis { $valid-until } von { $by }: { $why }
   *[no] Sonderfreigabe für { $strokes } Hübe von { $by }: { $why }
}
event-concession-withdrawn = Sonderfreigabe zurückgenommen von { $by }: { $why }
event-retired = Ausgemustert von { $by }: { $why }
event-measured = Gemessen: { $quantity } { $value } { $unit }
event-dried-out = Nach dem Druck nicht rechtzeitig gewaschen ({ $printed })
event-machine-up = Verbindung zu { $machine } steht
event-machine-down = Verbindung zu { $machine } verloren: { $why }
event-machine-state-changed = { $machine } ist { $state } (ihr Wort: { $word })
event-fault-raised = { $machine } hat Störung { $code }: { $text }
event-fault-ended = Störung { $code } von { $machine } ist vorbei
event-counter-noted = Zähler { $counter } von { $machine } bei { $raw }, nichts gebucht: { $why }
event-counter-doubted = Zähler { $counter } von { $machine } sprang von { $last } auf { $raw }, { $possible } waren möglich: nichts gebucht
event-restart-unseen = Zähler { $counter } von { $machine } begann ungesehen neu: bis zu { $at-most } Hübe können fehlen
event-strokes-unattributed = { $count } Hübe an { $machine } gehören niemandem: { $why }
event-boards-counted = Leiterplatten an { $machine } vorbei: { $count }
event-order-released = Auftrag { $order } für { $product } freigegeben{ $said ->
    [yes] {" "}(von { $by })
   *[no] {""}
 }
event-order-started = Auftrag { $order } begann an { $machine }{ $said ->
    [yes] {" "}(laut { $by })
   *[no] {""}
 }
event-order-finished = Auftrag { $order } fertig an { $machine }, Leiterplatten: { $made }{ $said ->
    [yes] {" "}(laut { $by })
   *[no] {""}
 }
event-gateway-started = Das Gateway startete, Version { $version }
event-gateway-stopped = Das Gateway hielt geordnet an
event-configured = Eine Konfiguration trat in Kraft
event-message-numbered = Nachricht { $number } von { $machine } wurde bearbeitet
event-clock-doubted = { $machine } nannte eine Zeit, die nicht sein kann ({ $told }): { $wrong }
event-decision-doubted = { $decision } erlaubte: { $rule }, und hätte verweigert, wäre { $late } rechtzeitig gekommen: { $reasons }

## Words of ours inside sentences

word-side-top = oben
word-side-bottom = unten
word-asked-top = oben
word-asked-bottom = unten
word-stencil-for-top = oben
word-stencil-for-bottom = unten
word-band-in-service = im Einsatz
word-band-reorder = nachbestellen
word-band-stopped = am Ende
word-outcome-passed = bestanden
word-outcome-failed = fehlgeschlagen
word-outcome-aborted = abgebrochen
word-state-running = in Betrieb
word-state-idle = im Leerlauf
word-state-set-up = beim Rüsten
word-state-down = außer Betrieb
word-state-unknown = in unbekanntem Zustand
word-rule-store = einlagern
word-rule-take = entnehmen
word-rule-print = drucken
word-basis-counter = Zähler des Druckers
word-basis-reported = Meldungen des Druckers
word-basis-pulses = Impulse
word-basis-order = Auftrag
word-basis-hand = Eingabe von Hand
word-checked-by-counter = Zähler des Druckers
word-checked-by-reported = Meldungen des Druckers
word-checked-by-pulses = Impulse
word-checked-by-order = Auftrag
word-checked-by-hand = Eingabe von Hand
word-why-nothing-seated = keine Schablone war im Drucker bekannt; fragen Sie die Linie, welche darin war
word-why-changed-meanwhile = die Schablone wurde zwischen zwei Ablesungen gewechselt; teilen Sie auf
word-why-seat-unconfirmed = die Verbindung war unterbrochen und niemand hat die Schablone seither bestätigt; fragen Sie die Linie
word-why-unknown-stencil = der Code im Drucker steht nicht in der Liste; tragen Sie die Schablone ein, dann ordnen Sie zu
word-why-implausible = mehr auf einmal, als der Drucker kann; vergleichen Sie mit den Aufzeichnungen der Linie und buchen Sie aus, was nie gemacht wurde
word-why-too-late = so spät gemeldet, dass niemand mehr weiß, was im Drucker war; fragen Sie die Linie
word-why-wrap-or-restart = der Zähler lief ungehört über null; vergleichen Sie mit den Aufzeichnungen der Linie
word-why-first = der erste gesehene Wert
word-why-seat-changed = die Schablone wurde gewechselt
word-why-restarted = er begann bei null
word-why-accepted = ein zweifelhafter Wert wurde bestätigt
word-why-misread = was wie ein Neubeginn aussah, war keiner
word-likely-counter-restarted = ein Zähler begann neu oder sprang
word-likely-not-heard = eine Verbindung oder das Gateway war aus
word-likely-double-print = jeder Nutzen wird mehrmals gedruckt
word-likely-wrong-panel-factor = die Leiterplatten je Druck im Auftrag stimmen nicht
word-likely-order-scrapped = der Auftrag wurde früher beendet
word-likely-silent = eine der beiden Quellen zählte gar nicht
word-likely-unknown = niemand weiß es
word-wrong-ahead = ihre Uhr geht vor; stellen Sie sie
word-wrong-back = ihre Uhr ging zurück; sehen Sie nach, wer sie stellt

## Forms

optional = (kann leer bleiben)
not-done = Nicht ausgeführt.
see-field = Siehe das markierte Feld.
too-long = Zu lang: höchstens { $most } Zeichen.
no-count = Keine ganze Zahl: Schreiben Sie nur Ziffern.
no-name = Kein Name: höchstens 64 Zeichen, keine unsichtbaren.
needed-by = Sagen Sie, wer das tut.
needed-why = Sagen Sie, aus welchem Grund.
needed-strokes = Sagen Sie, wie viele Hübe.
field-by = Wer
field-why = Warum
field-strokes = Hübe

## Stencils

stencil = Schablone
product = Produkt
condition = Zustand
machine = Maschine
stencils-title = Schablonen
stencils-find = Code oder Produkt enthält
stencils-only = Nur zeigen
stencils-only-all = alle im Gebrauch
stencils-only-to-wash = zu waschen
stencils-only-clean = sauber
stencils-only-unknown = mit unbekannter Sauberkeit
stencils-only-reorder = nachzubestellen
stencils-only-stopped = durch Verschleiß am Ende
stencils-only-on-hold = gesperrt
stencils-only-concession = mit Sonderfreigabe
stencils-only-retired = ausgemustert
stencils-order = Ordnen nach
stencils-order-code = Code
stencils-order-wear = Verschleiß, die meisten zuerst
stencils-order-waiting = Warten auf die Wäsche, die längsten zuerst
stencils-order-product = Produkt
stencils-show = Zeigen
stencils-found = { $count } gefunden.
stencils-caption = Schablonen mit ihrem Zustand
stencils-pages = Weitere Schablonen
page-before = Vorige Seite
page-next = Nächste Seite
wear-of-life = { $strokes } von { $rated } Hüben der Auslegung; { $percent } der Lebensdauer

## One stencil

stencil-title = Schablone { $stencil }
done = Ausgeführt und im Protokoll festgehalten.
stencil-may = Was mit ihr geschehen darf
stencil-life = Ihr Leben
stencil-do = Etwas tun
stencil-history = Was mit ihr geschah
history-cut = Gezeigt sind die letzten { $count } Ereignisse.
fact-place = Wo
fact-strokes-since-wash = Hübe seit der letzten Wäsche
fact-last-stroke = Letzter Hub
fact-last-wash = Letzte Wäsche
fact-washes = Wäschen
fact-wipes = Unterseitenreinigungen
fact-tension = Spannung
fact-band = In dieser Verschleißstufe seit
forecast-reorder = Nachbestellen
forecast-stop = Ist am Ende
forecast-order-by = Nachfolgerin bestellen bis
forecast-order-late = Dieser Tag ist vorbei
coming-reached = jetzt
coming-expected = etwa am { $day }, wohl zwischen { $earliest } und { $latest } (neun von zehn)
coming-not-used = noch kein Tag: kein Gebrauch vor heute, nach dem man gehen kann
coming-too-short = noch kein Tag: Sie wurde an zu wenigen Produktionstagen verwendet
coming-too-uneven = kein Tag: Sie wird zu selten oder zu ungleich verwendet
coming-plant-idle = kein Tag: Das Werk hat seit einem Jahr nicht gearbeitet
coming-far-ahead = mehr als zwanzig Jahre entfernt
concession-so-far = Sonderfreigabe: { $used } von { $strokes } Hüben verbraucht, bis { $until }, von { $by }: { $why }
concession-without-end = Sonderfreigabe: { $used } von { $strokes } Hüben verbraucht, von { $by }: { $why }
action-hold = Sperren
action-hold-means = Niemand darf sie verwenden, bis die Sperre aufgehoben wird.
action-release = Sperre aufheben
action-release-means = Sie darf wieder verwendet werden, soweit ihr Zustand es erlaubt.
action-wash = Wäsche von Hand melden
action-wash-means = Sie haben sie gewaschen oder gesehen, wie sie gewaschen wurde, und sie ist sauber. Gilt nur, wo das Werk es erlaubt.
action-concession = Sonderfreigabe erteilen
action-concession-means = Eine verschlissene Schablone darf noch so viele Hübe machen. Das steht mit Ihrem Namen und Grund im Protokoll.
action-withdraw = Sonderfreigabe zurücknehmen
action-withdraw-means = Sie darf nicht mehr über ihre Lebensdauer hinaus verwendet werden.
action-strokes = Hübe von Hand eingeben
action-strokes-means = Hübe, die keine Maschine gemeldet hat. Sie zählen zu ihrem Verschleiß.
action-retire = Endgültig ausmustern
action-retire-means = Sie kann nie wieder verwendet werden.
no-action = Diese Aktion gibt es nicht: Benutzen Sie ein Formular dieser Seite.
no-time = Keine Zeit: Schreiben Sie sie wie 2026-11-26T14:05.
needed-machine = Sagen Sie, an welcher Maschine.
needed-stencil = Sagen Sie, welche Schablone.
field-machine = Maschine
field-until = Bis
field-stencil = Schablone
to-tag = Anhänger drucken

## One event

event-title = Ereignis { $event }
event-decided-at = Entschieden
event-happened = Geschehen
event-machine-time = Zeit der Maschine
event-message = Aus der Nachricht
event-sender = Gemeldet von
event-before = Voriges Ereignis
event-after = Nächstes Ereignis
correct = Dieses Ereignis berichtigen
correct-strokes-means = Sagen Sie, wessen Hübe das waren und wie viele. Das Ereignis bleibt; die Berichtigung kommt dazu.
correct-wash-means = Sagen Sie, dass das keine Wäsche war. Das Ereignis bleibt; die Berichtigung kommt dazu.

## Scan

scan-title = Scannen
scan-field = Schablone, Auftrag, Fach, Drucker oder Waschanlage scannen
scan-send = Eingeben
scan-take = Darf ich sie nehmen?
scan-store = Darf ich sie einlagern?
scan-wash = Ich habe sie gewaschen
scan-anew = Neu beginnen
scan-how = In beliebiger Folge: Schablone und Auftrag, um sie zu nehmen; Schablone und Fach, um sie einzulagern; Schablone und Drucker oder Waschanlage, um zu sagen, dass sie darin ist.
scan-next-place = Scannen Sie jetzt den Auftrag, das Fach, den Drucker oder die Waschanlage.
scan-next-stencil = Scannen Sie jetzt die Schablone.
scan-take-permitted = Nehmen
scan-take-refused = Nicht nehmen
scan-take-next = Nehmen Sie sie jetzt heraus und scannen Sie sie dann mit dem Drucker.
scan-take-instead = Tun Sie, was oben steht, oder scannen Sie eine andere Schablone.
scan-store-permitted = Einlagern
scan-store-refused = Nicht einlagern
scan-store-next = Legen Sie sie jetzt in ihr Fach.
scan-store-instead = Tun Sie, was oben steht, und scannen Sie sie dann noch einmal.
scan-done = Erledigt
scan-refused = Nicht ausgeführt
scan-was-first = Zuerst war dort
scan-unknown = Nicht bekannt
scan-unknown-code = { $code } ist weder Schablone noch Auftrag, Fach, Drucker oder Waschanlage, die hier bekannt sind. Scannen Sie noch einmal, oder schreiben Sie ein Fach als Regal/Fach.
scan-who = Wer sind Sie?

## Machines

machines-title = Maschinen
machines-nothing = Die Konfiguration nennt keine Maschine.
machine-title = Maschine { $machine }
kind-printer = Drucker
kind-washer = Waschanlage
kind-rack = Lagerregal
kind-other = Andere Maschine
link = Verbindung
link-up = steht
link-down = verloren
link-never-up = nie zustande gekommen
link-never-check = Sie wurde nie gehört. Prüfen Sie Adresse und Kabel und lassen Sie check über die Konfiguration laufen.
on-trial = zur Probe: wird gezeigt, ändert nichts
machine-faults = Störungen, die sie meldet
machine-state = Zustand
machine-order = Auftrag
machine-printing = Drucken
machine-booked = Gebuchte Hübe
machine-unattributed = Nicht zugeordnete Hübe
machine-recent = Was hier zuletzt geschah
machine-recent-nothing = Zuletzt nichts.
value = Wert
machine-slots = Fächer
slot = Fach
slot-holds = Enthält
slot-empty = leer
slot-unknown = eine Schablone, die niemand genannt hat
trial-heard = Zur Probe gehört
trial-means = Was sie sagt, wird entschlüsselt und gezeigt und ändert nichts. Vergleichen Sie mit der Maschine selbst.
signal = Signal
last-value = Letzter Wert
heard-at = Gehört
heard-count = Male

## Alarms

alarms-title = Alarme
the-gateway = das Gateway
alarms-nothing = Kein Alarm steht an.
alarms-order = Geordnet nach
alarms-by-priority = Priorität
alarms-by-time = Zeit
alarms-with-ticked = Mit den angekreuzten
alarms-none-ticked = Kreuzen Sie mindestens einen Alarm an.
alarms-how = Zurückstellen und Außer-Betrieb-Nehmen brauchen eine Bemerkung mit dem Grund; Zurückstellen endet nach den angegebenen Minuten.
field-comment = Bemerkung
needed-comment = Sagen Sie warum, oder was zu sagen ist.
field-minutes = Minuten zurückgestellt
needed-minutes = Sagen Sie, für wie viele Minuten.
alarm-acknowledge = Quittieren
alarm-shelve = Zurückstellen
alarm-comment = Bemerken
alarm-unshelve = Wieder anzeigen
alarm-reset = Rücksetzen
alarm-take-out = Außer Betrieb nehmen
alarm-return = Wieder in Betrieb nehmen
alarm-priority = Priorität
until = bis
priority-low = niedrig
priority-medium = mittel
priority-high = hoch
priority-critical = kritisch
word-to-normal = normal
word-to-unacknowledged = unquittiert
word-to-acknowledged = quittiert
word-to-returned-unacknowledged = vorbei, unquittiert
word-to-latched-unacknowledged = verriegelt, unquittiert
word-to-latched-acknowledged = verriegelt, quittiert
word-to-shelved = zurückgestellt
word-to-suppressed = planmäßig unterdrückt
word-to-out-of-service = außer Betrieb
role-operator = Für die Linie
role-technician = Für die Instandhaltung
role-engineer = Für die Technik
role-manager = Für die Leitung
alarm-kind-machine-fault = Störung
alarm-todo-machine-fault = Gehen Sie zur Maschine und beheben Sie die Störung.
word-kind-machine-fault = Störung
alarm-kind-link-lost = Verbindung verloren
alarm-todo-link-lost = Sehen Sie nach, ob die Maschine an ist, dann nach Kabel, Switch und Broker.
word-kind-link-lost = Verbindung verloren
alarm-kind-wash-failed = Wäsche fehlgeschlagen
alarm-todo-wash-failed = Sehen Sie sie an und waschen Sie sie noch einmal; scheitert es wieder, sehen Sie nach der Waschanlage.
word-kind-wash-failed = Wäsche fehlgeschlagen
alarm-kind-wash-overdue = Wäsche überfällig
alarm-todo-wash-overdue = Waschen Sie sie jetzt.
word-kind-wash-overdue = Wäsche überfällig
alarm-kind-storage-breached = ohne Erlaubnis eingelagert
alarm-todo-storage-breached = Nehmen Sie sie heraus und waschen Sie sie, dann fragen Sie, ob Sie sie einlagern dürfen.
word-kind-storage-breached = ohne Erlaubnis eingelagert
alarm-kind-counter-doubted = Zähler zweifelhaft
alarm-todo-counter-doubted = Sehen Sie nach, ob er zurückgesetzt oder falsch gelesen wurde und ob seine Adresse stimmt.
word-kind-counter-doubted = Zähler zweifelhaft
alarm-kind-counter-restarted = Zähler ungesehen neu begonnen
alarm-todo-counter-restarted = Fragen Sie die Linie, wie viele gemacht wurden, geben Sie sie von Hand ein und setzen Sie den Alarm zurück.
word-kind-counter-restarted = Zähler ungesehen neu begonnen
alarm-kind-bases-disagree = Zählungen widersprechen sich
alarm-todo-bases-disagree = Vergleichen Sie beide mit den Aufzeichnungen der Linie, berichtigen Sie, was falsch ist, und setzen Sie den Alarm zurück.
word-kind-bases-disagree = Zählungen widersprechen sich
alarm-kind-strokes-unattributed = nicht zugeordnete Hübe
alarm-todo-strokes-unattributed = Fragen Sie die Linie, welche Schablone darin war, dann ordnen Sie zu oder buchen Sie aus.
word-kind-strokes-unattributed = nicht zugeordnete Hübe
alarm-kind-stencil-stopped = verschlissene Schablone im Drucker
alarm-todo-stencil-stopped = Nehmen Sie sie heraus und verwenden Sie ihre Nachfolgerin, oder bitten Sie die Leitung um eine Sonderfreigabe.
word-kind-stencil-stopped = verschlissene Schablone im Drucker
alarm-kind-intake-full = Signale kommen zu schnell
alarm-todo-intake-full = Suchen Sie eine Maschine, die zu viel sendet, und einen langsamen Datenträger.
word-kind-intake-full = Signale kommen zu schnell
alarm-kind-ledger-trouble = das Protokoll nimmt nichts an
alarm-todo-ledger-trouble = Schaffen Sie Platz oder bringen Sie den Datenträger in Ordnung; das Gateway macht von selbst weiter.
word-kind-ledger-trouble = das Protokoll nimmt nichts an
event-alarm-raised = Alarm ausgelöst: { $kind }
event-alarm-cleared = Alarm vorbei: { $kind }
event-alarm-acknowledged = Alarm quittiert von { $by }: { $kind }
event-alarm-reset = Alarm zurückgesetzt von { $by }: { $kind }
event-alarm-shelved = Alarm zurückgestellt bis { $until } von { $by }: { $kind }; { $why }
event-alarm-unshelved = Alarm wieder angezeigt: { $kind }
event-alarm-suppressed = Alarm unterdrückt, solange an { $under-maintenance } gearbeitet wird: { $kind }
event-alarm-released = Alarm nicht mehr unterdrückt: { $kind }
event-alarm-taken-out = Alarm außer Betrieb genommen von { $by }: { $kind }; { $why }
event-alarm-returned = Alarm wieder in Betrieb genommen von { $by }: { $kind }
event-alarm-alarmed-again = Alarm erneut gemeldet: { $kind }
event-alarm-commented = { $by } bemerkt zum Alarm { $kind }: { $comment }
event-alarm-maintenance-began = { $by } arbeitet an { $machine }: { $why }
event-alarm-maintenance-ended = Arbeit an { $machine } ist fertig, sagt { $by }

## Unattributed strokes

unattributed-title = Hübe, die niemand zuordnen konnte
unattributed-means = Sie zählen für keine Schablone, bis jemand sagt, wessen sie sind. Fragen Sie die Linie; die ältesten kommen zuerst.
unattributed-nothing = Jeder Hub hat seine Schablone.
unattributed-entry = { $strokes } Hübe an { $machine }
unattributed-assign = So festhalten
unattributed-say = Sagen Sie mindestens von einer Schablone, wie viele Hübe sie machte, oder wie viele auszubuchen sind.
unattributed-correct = Falsch gebucht? Öffnen Sie das Ereignis in der Geschichte der Schablone und berichtigen Sie es dort.
field-write-off = Hübe keiner Schablone, auszubuchen
needed-write-off = Sagen Sie, wie viele auszubuchen sind.

## Wear

wear-title = Verschleiß und Ersatz
wear-not-yet = Das Protokoll wird noch zum ersten Mal gelesen: Vorhersagen und der Gebrauch über die Zeit folgen gleich.
wear-plan = Was zu bestellen ist, das Früheste zuerst
wear-plan-nothing = Noch ist keine Schablone verzeichnet. Lesen Sie eine Liste ein, oder lassen Sie eine Maschine eine nennen.
wear-plan-means = Bestellen bis: das frühe Ende des Zeitraums, in dem sie am Ende ist, abzüglich der Lieferzeit. Wo die nicht bekannt ist: wann nach den Grenzen des Werks nachzubestellen ist.
wear-per-day = Hübe je Tag
wear-price = Preis
wear-more = Alle Schablonen nach Verschleiß
wear-concessions = Sonderfreigaben
wear-concessions-nothing = Keine ist erteilt.
wear-use = Gebrauch im Lauf der Zeit
wear-use-means = Hübe aller Schablonen im Gebrauch nach Tagen (UTC), die letzten 90 Tage mit Hüben

## Tag

tag-title = Anhänger von { $stencil }
tag-rated = Ausgelegt auf { $rated } Hübe
tag-hold = GESPERRT
tag-pdf = Der Anhänger als PDF
tag-svg = Nur das Symbol, als SVG
tag-back = Zurück zur Schablone
tag-how = Drucken Sie diese Seite: Gedruckt wird nur der Anhänger. Das Symbol ist ein Data Matrix des Codes.
tag-too-long = Der Code ist zu lang für ein Symbol.

## Wer hereinkommt

sign-in-title = Anmelden
sign-in-means = Mit Ihrem Namen oder Ausweis. An einem gemeinsamen Platz genügt die PIN.
sign-out = Abmelden
confirm-title = Bestätigen, dass Sie es sind
confirm-means = Was Sie vorhaben, wiegt schwer. Zeigen Sie noch einmal, wer Sie sind; wo eine zweite Person nötig ist, bestätigt sie neben Ihnen.
confirm-first = Bevor das geschehen kann, bestätigen Sie, dass Sie es sind.
secret-title = Kennwort ändern
secret-means = Danach sind Sie überall abgemeldet.
not-yours = Das ist Sache einer anderen Rolle.
is-operator = Bedienung
is-technician = Instandhaltung
is-engineer = Technik
is-manager = Leitung
field-name = Name oder Ausweis
field-secret = Kennwort, am gemeinsamen Platz die PIN
field-second-name = Name einer zweiten Person
field-second-secret = Deren Kennwort oder PIN
field-old = Bisheriges Kennwort
field-new = Neues Kennwort
field-new-hint = 12 bis 128 Zeichen, etwa vier Wörter, die nicht zusammengehören.
door-401 = Die Anmeldung wurde abgelehnt: Name oder Kennwort stimmt nicht, oder es wurde zu oft versucht. Warten Sie kurz und versuchen Sie es noch einmal.
door-403 = Eine PIN genügt nicht, um das Kennwort zu ändern: Melden Sie sich mit dem Kennwort an.
door-409 = Die zweite Person muss eine andere sein, mindestens Instandhaltung.
door-422 = Dieses Kennwort wird nicht genommen: Wählen Sie ein anderes, länger und kein verbreitetes.
door-503 = Das geht im Augenblick nicht: Versuchen Sie es später noch einmal.

machine-do = Was zu ihr zu sagen ist
action-seat = Eine Schablone wurde eingesetzt
action-seat-means = Für Maschinen, die nicht selbst sagen, was in ihnen ist. Scannen sagt dasselbe.
action-remove = Die Schablone wurde herausgenommen
action-remove-means = Jetzt ist nichts darin.
action-start = Einen Auftrag beginnen
action-start-means = Ab jetzt arbeitet sie an diesem Auftrag, der vorher freigegeben wurde.
action-finish = Einen Auftrag beenden
action-finish-means = Der Auftrag ist hier fertig. Mit der Zahl der Leiterplatten werden die Hübe verglichen.
action-begin-maintenance = Wartung beginnen
action-begin-maintenance-means = Alarme, die daraus folgen, schweigen, bis die Wartung endet.
action-end-maintenance = Wartung beenden
action-end-maintenance-means = Ihre Alarme melden sich wieder.
maintenance = In Wartung:
field-order = Auftrag
needed-order = Sagen Sie, welcher Auftrag.
field-made = Gefertigte Leiterplatten
needed-made = Sagen Sie, wie viele Leiterplatten.
machines-rest = Alle anderen
machine-points = Was sie meldet, und was das wert ist
point = Punkt
point-age = Gehört vor
point-quality = Güte
quality-never = Nicht gehört, seit das Gateway läuft
quality-doubted = Bezweifelt: Der letzte Wert kann nicht sein, der davor zählt
quality-waiting = Wartet, bis die Maschine ihre Schablone nennt
quality-old = Alt: Die Verbindung steht nicht
quality-good = Gut
signal-stroke-total = Zählerstand
signal-strokes-done = Hübe
signal-wipes-done = Unterseitenreinigungen
signal-stencil-seated = Schablone darin
signal-stencil-removed = Schablone herausgenommen
signal-wash-began = Wäsche begonnen
signal-wash-ended = Wäsche beendet
signal-slot-occupied = Fach belegt
signal-slot-emptied = Fach geleert
signal-store-asked = Einlagern angefragt
signal-take-asked = Entnahme angefragt
signal-machine-state = Zustand
signal-fault-raised = Störung gemeldet
signal-fault-ended = Störung beendet
signal-message-numbered = Nachrichtennummer
signal-measured = Messwert
signal-order-released = Auftrag freigegeben
signal-order-started = Auftrag begonnen
signal-order-finished = Auftrag beendet
signal-boards-counted = Leiterplatten

measures = Wie gut die Alarme dienen
measures-nothing = In den letzten dreißig Tagen wurde keiner gemeldet.
measures-days = Über { $span }, je Bediener; die Normen verlangen dreißig Tage.
measure-what = Maß
measure-guide = Gut ist
measure-told = Gemeldete Alarme
measure-per-ten-minutes = In zehn Minuten, im Mittel
measure-peak = In zehn Minuten, höchstens
measure-floods = Fluten
measure-in-flood = Anteil der Zeit in einer Flut
measure-chattering = Flatternde
measure-fleeting = Flüchtige
measure-stale = Alte: länger als ein Tag
measure-share = Anteil der Priorität
measure-top = Am häufigsten gemeldet
