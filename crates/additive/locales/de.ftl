### Sentences of the fluids' side, German. One sentence per thing to say; a caution says why.

## Which fluid is this

identify-settled = Das ist { $fluid } ({ $percent } %), nach zwei verschiedenen Prüfungen.
identify-not-sure = Wahrscheinlich { $fluid } ({ $percent } %), aber nicht sicher genug, um danach zu handeln. Die nächste Prüfung machen.
identify-one-look = Es sieht nach { $fluid } aus ({ $percent } %), aber erst nach einer Art von Prüfung. Eine zweite, andere machen.
identify-refractometer-alone = Das Refraktometer allein entscheidet nicht: Kühlmittel der richtigen Stärke zeigt denselben Wert wie AUS 32. Am ehesten ist es { $fluid } ({ $percent } %). Ein bekanntes Volumen wiegen oder einen Tropfen in Wasser ansehen.
identify-nothing-seen = Noch ist nichts geprüft.
identify-nothing-fits = Keine der bekannten Flüssigkeiten passt zu dem, was man sah. Als unbekannt behandeln: nicht einfüllen, untersuchen lassen.

## Before a pour

pour-two-persons = Zwei Personen lesen { $wanted } auf dem Etikett. Einfüllen.
pour-scan-and-label = Code und Etikett sagen beide { $wanted }. Einfüllen.
pour-label-and-density = Das Etikett sagt { $wanted }, und die Dichte stimmt. Einfüllen.
pour-second-look-missing = Ein zweiter, unabhängiger Blick auf { $wanted } fehlt: eine andere Person, der Code oder eine gemessene Dichte. Zwei Flüssigkeiten in den falschen Löchern kosten mehr als ein Blick.
pour-label-missing = Zuerst das Etikett von { $wanted } lesen oder den Code scannen: Eine Dichte kann zwei Generationen nicht unterscheiden.
pour-label-disagrees = Halt. { $by } fand ein Etikett oder einen Code, der nicht { $wanted } ist. Keine Messung steht über einem Etikett. Das Gebinde beiseitestellen und mit einem anderen beginnen.
pour-density-disagrees = Halt. Die Dichte, die { $by } gemessen hat, ist nicht die von { $wanted }, was auch immer auf dem Etikett steht. Das Gebinde beiseitestellen und klären, was darin ist.
pour-look-disagrees = Halt. { $wanted } sieht nicht so aus, wie { $by } es sah. Das Gebinde beiseitestellen und klären, was darin ist.
pour-drop-disagrees = Halt. Ein Tropfen { $wanted } verhält sich in Wasser nicht so, wie { $by } es sah. Das Gebinde beiseitestellen und klären, was darin ist.
pour-index-disagrees = Halt. Der Brechungsindex, den { $by } ablas, ist nicht der von { $wanted }. Das Gebinde beiseitestellen und klären, was darin ist.

## The fill

fill-stops-by-itself = Der Fluss hört nach etwa { $millilitres } mL von selbst auf ({ $percent } von 100): Nichts lässt Luft in die Flasche oder aus dem Behälter. Die Belüftung öffnen.
fill-may-glug = Die Flasche ist zu, und das Rohr ist weit genug, dass Luft zurückströmt: Es läuft in Schüben, und die Dauer lässt sich nicht sagen. Die Belüftung öffnen.
fill-transitional = Die Strömung liegt zwischen laminar und turbulent; die Dauer stimmt auf etwa 20 %.
fill-measure-density = Die Dichte dieses Konzentrats ist nicht genau genug bekannt, um nach Gewicht aufzuhören. Ein bekanntes Volumen wiegen und eintragen: Zu viel sprengt einen Beutel.
fill-measure-viscosity = Die Zähigkeit dieses Konzentrats ist kaum bekannt, darum ist die Dauer ungewiss. Die ersten Gewichte der Füllung engen sie ein.
fill-no-flame = Ein Schlauchende in heißem Wasser oder mit einem elektrischen Heißluftgerät auf der Werkbank weich machen. Nie mit einer Flamme: Kraftstoffdampf liegt am Boden, und eine Flamme findet ihn.
fill-wear = Schutzbrille und Nitrilhandschuhe: Der Träger entfettet die Haut und reizt die Augen, und verschluckt gerät er in die Lunge. Nach Verschlucken kein Erbrechen auslösen; mit dem Sicherheitsdatenblatt den Giftnotruf anrufen.
fill-makers-procedure = Wo die Anweisung des Herstellers etwas anderes sagt, geht sie vor.
lever-lower-receiver = Den Behälter um 30 cm absenken. Eine zweite Stütze darunter lassen: Er ist schwer, und Hände werden eingeklemmt.
lever-warm-bottle = Die Flasche in warmem Wasser auf 20 °C bringen, Deckel lose. Keine Flamme und keine Heizplatte: Der Träger brennt, und eine geschlossene Flasche platzt.
lever-vent-bottle = Die Belüftung der Flasche öffnen. Geschlossen hält sie die Flüssigkeit nach einigen Millilitern zurück.
lever-press-bottle = Die Flasche bei geschlossener Belüftung sanft drücken. Sanft, denn eine Kupplung, die nachgibt, spritzt in die Augen.
live-starting = Die Waage wird beobachtet. Noch zwei oder drei Gewichte, dann gibt es eine Zeit.
live-filling = Es füllt sich, wie es soll.
live-stalled = Steht. Das Gewicht bewegt sich nicht. Die Belüftung der Flasche öffnen, mit der Hand den Schlauch entlang nach einem Knick suchen; die Klemme schließen, bevor an der Kupplung gezogen wird.
live-leaking = Leck. Jetzt die Klemme schließen: { $grams } g sind verloren. Wanne und Tuch unter die Kupplung; keine heiße Lampe, kein Schalter und keine Flamme in der Nähe, denn der Träger brennt wie Diesel. Wiegen, was übrig ist, Beutel und Tücher.
live-overfull = Zu viel ist darin, um { $grams } g. Klemme schließen und aufhören: Ein voller Beutel reißt an der Naht, ein voller Tank läuft auf heiße Teile über.
live-done = An der Marke. Klemme schließen, 10 Minuten warten und vor dem Einbau nach Nässe sehen.
live-disturbed = Das Gewicht sprang. Hände und Werkzeug von der Waage nehmen; die nächsten Gewichte zeigen, wo es steht.

## Values to enter

entry-which-controller = Herausfinden, welches Steuergerät den Zähler hält: bei früheren Autos ein eigenes für das Additiv, bei späteren das Motorsteuergerät. Es ist das, welches eine Zahl für den Behälter zeigt; ein Eintrag im anderen ändert nichts oder das Falsche.
entry-save-first = Die alten Werte lesen und sichern, bevor etwas eingetippt wird: Was überschrieben ist, lässt sich nicht mehr lesen.
entry-battery-support = Ladeerhaltung an: Ein Spannungseinbruch mitten in einem Eintrag kann dem Steuergerät seine Zahlen nehmen.
entry-sets = Dieses Steuergerät setzt seine Zahl auf den Eintrag. { $value } { $unit } eintragen, was nach der Waage im Behälter ist.
entry-adds = Dieses Steuergerät zählt den Eintrag zu dem hinzu, was es glaubte. { $value } { $unit } eintragen, den Abstand zwischen seiner Zahl und der Waage.
entry-unknown-first = Es ist nicht bekannt, ob dieses Steuergerät setzt oder hinzuzählt. { $value } { $unit } eintragen und zurücklesen: Das kann in keinem Fall zu weit gehen, und das Zurücklesen zeigt, welches es ist.
entry-unknown-above-scale = Das Steuergerät glaubt { $millilitres } mL mehr, als die Waage sagt, und es ist nicht bekannt, ob es setzt oder hinzuzählt. Nicht eintippen: Eines, das hinzuzählt, ließe sich nicht zurückholen. Nach der Anweisung des Herstellers klären.
entry-cannot-take-away = Das Steuergerät glaubt { $millilitres } mL mehr, als die Waage sagt, und ein Eintrag kann nichts wegnehmen. Nicht eintippen; die Routine des Herstellers für einen neuen Behälter nehmen, wenn es eine gibt.
entry-already-agrees = Das Steuergerät stimmt schon auf { $millilitres } mL mit der Waage überein. Nichts eintippen.
entry-belief-not-read = Was das Steuergerät jetzt glaubt, wurde nicht gelesen. Zuerst lesen: Ohne das ist der passende Eintrag nicht zu wissen.
entry-gap-less-than-believed = Vor dem Einfüllen hielt der Behälter { $millilitres } mL weniger, als das Steuergerät glaubte. Der Abstand ist ein Leck, eine nie eingefüllte Füllung oder eine zu hohe Dosis; er liegt nicht am Tippen. Danach suchen, bevor es weitergeht.
entry-gap-more-than-believed = Vor dem Einfüllen hielt der Behälter { $millilitres } mL mehr, als das Steuergerät glaubte. Ausgebliebene Dosen oder eine nie eingetragene Füllung; nachsehen, was es war.
entry-distance-zero = Strecke seit dieser Füllung: null, denn die Füllung ist frisch.
entry-distance-not-asked = Nach der Strecke seit der Füllung wird nicht gefragt. Sie bleibt, wie sie ist.
entry-distance-not-fresh = Der Behälter wurde nicht voll gefüllt, darum ist die Strecke seit der Füllung nicht null. Sie bleibt, wie sie ist.
entry-filter-untouched = Was der Filter erhalten hat und seine Asche bleiben stehen: Er wurde weder gereinigt noch ersetzt, und eine Null löscht hier seine Aschegeschichte.
entry-filter-new = Ein neuer Filter hat nichts erhalten und hält keine Asche. Null eintragen.
entry-filter-cleaned = Der Filter wurde gereinigt und gewogen: { $percent } % seiner Asche sind geblieben. Diesen Anteil der zuvor gesicherten Zahl eintragen.
entry-filter-cleaned-not-weighed = Der Filter wurde gereinigt, aber nicht davor und danach gewogen. Nicht raten: beim Reiniger nach beiden Trockenmassen fragen.
entry-filter-not-shown = Die Zahl vor der Reinigung wurde nicht gelesen, darum ist der Anteil, der blieb, nicht auszurechnen. Zuerst lesen.
entry-unclear-question = Wenn nicht klar ist, was eine Frage bedeutet, nichts eintippen und es notieren: Eine Null an der falschen Stelle kann die Geschichte des Filters löschen.
entry-read-back = Zündung 30 s aus, wieder an, und zurücklesen. Nur das Zurücklesen beweist es.
entry-makers-procedure = Wo die Anweisung des Herstellers etwas anderes sagt, geht sie vor.
told-sets = Das Zurücklesen zeigt, dass dieses Steuergerät setzt. Den Inhalt nach der Waage eintragen.
told-adds = Das Zurücklesen zeigt, dass dieses Steuergerät hinzuzählt. Den Rest eintragen.
told-adds-too-much = Das Steuergerät zählt hinzu und glaubt jetzt mehr, als die Waage sagt. Ein Eintrag kann nichts wegnehmen; die Routine des Herstellers nehmen.
told-agrees = Das Steuergerät glaubt jetzt, was die Waage sagt. Nichts mehr eintippen.
told-both = Das Zurücklesen passt zu beiden Arten, und die Zahl ist noch nicht die der Waage. Kein zweites Mal eintippen; nach der Anweisung des Herstellers klären.
told-neither = Das Zurücklesen passt zu keiner Art. Vor einem zweiten Eintrag: das richtige Steuergerät, die Zündung gewechselt, die richtige Einheit?
slip-wrong-unit = Um das Tausendfache daneben: Milliliter und Liter wurden verwechselt. Den Eintrag berichtigen.
slip-top-up-as-full = Nachgefülltes wurde als voller Behälter eingetragen. Das Auto wird leer, bevor es etwas sagt. Den Inhalt nach der Waage eintragen.
slip-poured-to-sets = Das Eingefüllte ging an ein Steuergerät, das setzt: Was vorher darin war, ist für es verloren. Den Inhalt nach der Waage eintragen.
slip-held-to-adds = Der Inhalt ging an ein Steuergerät, das hinzuzählt: Was es vorher glaubte, zählt jetzt doppelt. Zurücklesen; das Auto wird leer, bevor es etwas sagt.
slip-belief-unmoved = Die Zahl bewegte sich nicht. Entweder antwortet ein anderes Steuergerät für das Additiv, oder die Zündung wurde nicht gewechselt.
slip-filter-forgotten = Der Filter wurde gereinigt oder ersetzt, aber was er erhalten hat, steht noch da. Die Aschemeldung kommt sofort.
slip-filter-wiped = Was der Filter erhalten hat, wurde kleiner, obwohl der Filter nicht angerührt wurde. Die gesicherte Zahl zurückschreiben, sonst wird er über seine Aschegrenze gefahren.
slip-distance = Die Füllung ist frisch, also ist die Strecke seit ihr null.
slip-above-capacity = Es wurde mehr eingetragen, als der Behälter fasst. Noch einmal wiegen, dann berichtigen.
slip-belief-off = Die zurückgelesene Zahl ist nicht, was die Waage sagt. So nicht übergeben.

## After a dry spell

dry-fuel-undosed = Der Kraftstoff im Tank hat kein Additiv bekommen, und das bleibt so bis zum nächsten Tanken: Dosiert wird nach getanktem Kraftstoff.
dry-soot-undoped = Der Ruß im Filter ist ohne Additiv. Er brennt erst heißer, und langsamer.
dry-refuel-drive = Gut tanken, den Tank halb leer fahren, dann wieder mit Regenerationen rechnen.
dry-share = Nach diesem Tanken trägt der Kraftstoff im Tank { $percent } % der eingestellten Dosis.
dry-proof = Das Tanken sollte { $millilitres } mL aus dem Behälter nehmen. Wiegen oder ablesen: Das ist der Beweis, dass wieder dosiert wird.
dry-no-standing-regeneration = Jetzt keine Standregeneration: Viel Ruß ohne Additiv, der endlich zündet, kann zu heiß brennen und den Filter reißen lassen.

## Mix-ups

mixup-no-promise = Niemand kann versprechen, dass Spülen genügt. Was benetzt wurde, entscheidet.
mixup-makers-procedure = Für die benetzten Teile nach der Anweisung des Herstellers; Kraftstoff unter Druck öffnen nur Geschulte.
mixup-authority-decides = Die Abfallarten sind ein Anfang. Die Behörde am Ort und der Entsorger entscheiden.
mixup-stage-unknown = Niemand weiß, ob eingeschaltet wurde oder der Motor lief. Gerechnet wird, als sei er gelaufen, denn Nachsehen kostet weniger als eine Pumpe.
mixup-concentration = Die falsche Flüssigkeit macht { $middle } % des Volumens aus ({ $low } bis { $high }).
lock-aus32-in-fuel = Nicht einschalten, nicht starten. AUS 32 sinkt zur Ansaugung des Kraftstofftanks, schmiert nicht und lässt die Hochdruckpumpe in kürzester Zeit fressen.
lock-aus32-in-reservoir = Nicht einschalten, nicht starten. Die Dosierpumpe würde AUS 32 in den Kraftstofftank drücken, und sie korrodiert.
lock-foreign-in-aus32 = Nicht einschalten, nicht starten. Das AUS-32-System füllt sich mit der Zündung und zieht die falsche Flüssigkeit durch Pumpe, Leitungen und Dosierer.
lock-neat-additive = Nicht starten. Der Kraftstoff hält ein Vielfaches des Metalls, das er soll; die Asche kommt auf einmal in den Filter, und wie viel, ist noch nicht bekannt.
lock-wrong-generation = Der Motor darf laufen, aber Serviceregeneration, Dosierprüfungen und Tanken unterbleiben: Jedes Tanken dosiert die falsche Menge Metall.
lift-second-person = Eine zweite Person, nicht die, die zuerst nachsah, hat die Proben angesehen.
lift-emptied = Behälter, Leitungen und Filter sind geleert und mit der richtigen Flüssigkeit gespült, und was herauskam, ist gewogen.
lift-clear-samples = Drei Proben nacheinander sind klar, oben und unten.
lift-reservoir-emptied = Der Behälter ist geleert, was herauskam, ist gewogen, und er ist mit der richtigen Generation gefüllt.
lift-signed = Eine namentlich genannte Person unterschreibt mit dem Grund. Zeit allein hebt nichts auf.
danger-high-pressure-pump = Hochdruckpumpe: keine Schmierung, Fressen, und Späne, die weiterwandern.
danger-fuel-filter = Kraftstofffilter: quillt mit Wasser und fällt zusammen.
danger-corrosion = Blanker Stahl, Kupfer und seine Legierungen, Zink und manches Aluminium korrodieren in AUS 32 binnen Stunden bis Tagen.
danger-rail-injectors = Verteilerrohr und Injektoren: Kristalle und Späne. Meist wird alles Benetzte ersetzt.
danger-drying = Es trocknet, wo es steht: Harnstoff wird zu Kristallen, die Pumpen und Nadeln blockieren.
danger-dosed-into-fuel = Es würde in den Kraftstoff dosiert: derselbe Schaden wie bei AUS 32 im Tank, nur langsamer.
danger-dosing-pump = Dosierpumpe: Kristalle und Korrosion.
danger-dosing-pump-foreign = Dosierpumpe: Ein anderer Träger oder eine andere Zähigkeit kann sie verschmutzen oder ihren Hub ändern.
danger-doser-seals = Dosierer, Qualitätssensor und Dichtungen: Kohlenwasserstoff lässt sie quellen und verschmutzt sie.
danger-scr-catalyst = Katalysator: Kohlenwasserstoff verkokt ihn.
danger-scr-metal = Katalysator: Das Metall des Additivs bleibt darauf.
danger-ash-at-once = Filter: die Asche vieler Tankfüllungen auf einmal.
danger-injector-deposits = Injektoren: Ablagerungen aus Metall in hoher Konzentration.
danger-wrong-dose = Dosis: Metall im Verhältnis der beiden Stärken, bis zum Vierfachen. Zu wenig heißt schwache Regeneration, zu viel heißt schnelle Asche.
now-tag-key = Den Schlüssel mit einem Anhänger versehen, aus dem Auto nehmen und außer Reichweite bringen.
now-no-ignition-sources = Keine Zündquellen, lüften, Wanne und Bindemittel: Kraftstoff und der Träger des Additivs brennen, und Dampf liegt am Boden.
now-keep-samples = Proben nehmen und aufbewahren, bevor etwas abgelassen wird: Später kann sie niemand mehr nehmen.
now-battery-off = Batterie ab, wo eine Tür oder der Schlüssel die Pumpe weckt; auch das Ladegerät ab.
now-move-by-hand = Nur von Hand oder auf Rangierrollen bewegen.
now-drain-tank = Den Tank vom tiefsten Punkt mit einem geschlossenen, geerdeten Gerät leeren; wiegen, was herauskommt.
now-rinse-fuel = Mit sauberem Diesel spülen, Kraftstofffilter wechseln, Proben nehmen, bis sie klar sind.
now-low-pressure-side = Leitungen, Filter, Wasserabscheider und Niederdruckpumpe heraus; nach Wasser und Kristallen sehen, bevor etwas weitergeht.
now-wetted-parts = Nach der Anweisung des Herstellers: meist Tank, Leitungen, Pumpen, Verteilerrohr und Injektoren.
now-check-oil = Das Motoröl ansehen; kein Start mit Öl über der Marke.
now-empty-reservoir = Den Behälter an seiner Serviceöffnung leeren, wiegen, was herauskommt, ersetzen, was eine fremde Flüssigkeit benetzt hat.
now-check-fuel-for-water = Eine Probe vom tiefsten Punkt des Kraftstofftanks nehmen: Es kann schon dosiert worden sein.
now-drain-aus32 = Den AUS-32-Tank leeren, Proben oben und unten nehmen.
now-rinse-aus32 = Mit entionisiertem Wasser spülen, dann mit AUS 32; Proben nehmen, bis kein Film mehr zu sehen ist.
now-aus32-parts = Wo Kohlenwasserstoff gefunden wird, wollen viele Hersteller Tank, Pumpe, Leitungen und Dosierer ersetzt haben, oft auch den Katalysator.
now-dilute-note = Was gelaufen ist, ist im Filter. Volumen und Strecke für die Aschebilanz notieren.
now-filter-ash-later = Die Asche des Filters früher als geplant wiegen oder messen.
now-stop-dosing = Das Dosieren nach der Anweisung des Herstellers anhalten und nicht tanken, bis der Behälter stimmt.
now-blend-balance = Die Mischung nach Gewicht ausrechnen: wie viel Metall seither in wie viel Kraftstoff ging.
now-tell-insurer = Der Versicherung Bescheid geben, bevor Teile weggeworfen werden.
never-flame = Keine Flamme, keine Heißarbeit in der Nähe. Tanks, die nicht gereinigt und entgast waren, sind explodiert.
never-waste-oil = Nie ins Altöl: Das ganze Fass wird dadurch gefährlicher Abfall.
never-drain-a-bit = Nicht etwas ablassen und weiterfahren: Der Rest sinkt zur Ansaugung.
never-crank-to-see = Nicht zur Probe anlassen: Eine Umdrehung bringt es an der Hochdruckpumpe vorbei.
never-promise-flush = Kein Versprechen, dass Spülen reicht: Was benetzt wurde, kann Wochen später versagen.
never-wait = Nicht warten und nicht eintrocknen lassen: Es wird zu Kristallen.
never-rinse-water = Kein Wasser in den Additivbehälter: Es bleibt darin und wird in den Kraftstoff dosiert.
never-prime-aus32 = Keine Zündung: Das System füllt sich von selbst.
never-drive-it-off = Nicht leer fahren: Jeder verbrannte Liter lässt sein Metall im Filter.
never-top-up-over = Nicht das Richtige darüber füllen: Die Stärke der Mischung passt zu keiner Einstellung.
never-service-regeneration = Keine Serviceregeneration, solange das offen ist: Falsche Flüssigkeit und Hitze vertragen sich nicht.
sample-lowest-point = Klares Glas vom tiefsten Punkt.
sample-stand = 10 bis 30 Minuten stehen lassen: Zwei Schichten sprechen für AUS 32 oder Wasser.
sample-weigh-layer = Ein bekanntes Volumen der unteren Schicht wiegen: 1,09 kg/L spricht für AUS 32, 1,00 für Wasser.
sample-crystals = Einen Tropfen auf Glas trocknen lassen: Weiße Nadeln sind Harnstoff.
sample-water-paste = Wassernachweispaste an einem Stab; manche reagiert langsam auf Harnstoff, darum nach der Zeit auf der Dose ablesen.
sample-top-and-bottom = Proben oben und unten: Kohlenwasserstoff schwimmt.
sample-film = Ein Film oder Regenbogen obenauf, oder ein Teststreifen auf Kohlenwasserstoff.
sample-colour = Die Farbe mit sauberem Kraftstoff in gleichen Gläsern vergleichen; ein dunkelbrauner Ton spricht für Additiv.
sample-laboratory-metal = Ein Labor misst das Metall; 100 mL verschlossen dafür aufheben.
sample-density = Dichte gegen die beider Etiketten, bei bekannter Temperatur.
waste-fuel-mixed = Kraftstoff, der mit AUS 32 oder Additiv gemischt ist.
waste-fuel-filter = Kraftstofffilter.
waste-additive = Übriges oder verunreinigtes Additiv; das Sicherheitsdatenblatt entscheidet zwischen diesem und 16 03 05* oder 14 06 03*.
waste-aus32-contaminated = AUS 32 mit Kraftstoff oder Metall darin.
waste-wipes = Bindemittel, Tücher und Handschuhe.
waste-packaging = Leere Gebinde mit Resten.
