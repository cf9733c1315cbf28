### Sentences of the fluids' side, English. One sentence per thing to say; a caution says why.

## Which fluid is this

identify-settled = This is { $fluid } ({ $percent } %), by two different kinds of test.
identify-not-sure = Most likely { $fluid } ({ $percent } %), but not sure enough to act on. Make the next test.
identify-one-look = It looks like { $fluid } ({ $percent } %), by one kind of test only. Make a second, different one.
identify-refractometer-alone = The refractometer alone does not settle it: coolant of the right strength shows the index of AUS 32. Likeliest is { $fluid } ({ $percent } %). Weigh a known volume or look at a drop in water.
identify-nothing-seen = Nothing has been tested yet.
identify-nothing-fits = None of the fluids known fits what was seen. Treat it as unknown: do not pour it, and have it analysed.

## Before a pour

pour-two-persons = Two persons read { $wanted } on the label. Pour.
pour-scan-and-label = Code and label both say { $wanted }. Pour.
pour-label-and-density = The label says { $wanted } and the density agrees. Pour.
pour-second-look-missing = A second, independent look at { $wanted } is missing: another person, the code, or a measured density. Two fluids in the wrong holes cost more than a look.
pour-label-missing = Read the label or scan the code of { $wanted } first: a density cannot tell one generation from another.
pour-label-disagrees = Stop. { $by } found a label or code that is not { $wanted }. No measurement overrules a label. Set the container aside and begin with another.
pour-density-disagrees = Stop. The density { $by } measured is not that of { $wanted }, whatever the label says. Set the container aside and find out what is in it.
pour-look-disagrees = Stop. { $wanted } does not look like what { $by } saw. Set the container aside and find out what is in it.
pour-drop-disagrees = Stop. A drop of { $wanted } does not behave in water as { $by } saw. Set the container aside and find out what is in it.
pour-index-disagrees = Stop. The refractive index { $by } read is not that of { $wanted }. Set the container aside and find out what is in it.

## The fill

fill-stops-by-itself = The flow will stop by itself after about { $millilitres } mL ({ $percent } of 100): nothing lets air into the bottle or out of the receiver. Open the vent.
fill-may-glug = The bottle is closed and the bore is wide enough for air to come back through it: the flow will be in gulps, and its time cannot be told. Open the vent.
fill-transitional = The flow is between laminar and turbulent; the time is good to about 20 %.
fill-measure-density = The density of this concentrate is not known well enough to stop by weight. Weigh a known volume and enter it: too much splits a pouch.
fill-measure-viscosity = The viscosity of this concentrate is hardly known, so the time is wide. The first weights of the fill will narrow it.
fill-no-flame = Soften a hose end in hot water or with an electric hot-air tool at the bench. Never a flame: fuel vapour lies low, and a flame finds it.
fill-wear = Goggles and nitrile gloves: the carrier takes the fat from skin and irritates eyes, and swallowed it goes to the lungs. If swallowed, do not make vomit; call the poison line with the data sheet.
fill-makers-procedure = Where the maker's procedure says otherwise, it goes first.
lever-lower-receiver = Lower the receiver by 30 cm. Keep a second support under it: it is heavy and hands get caught.
lever-warm-bottle = Warm the bottle to 20 °C in warm water, cap loose. No flame and no hot plate: the carrier burns, and a closed bottle bursts.
lever-vent-bottle = Open the vent of the bottle. Closed, it holds the liquid back after some millilitres.
lever-press-bottle = Press the bottle gently with its vent closed. Gently, since a coupling that lets go sprays into the eyes.
live-starting = Watching the scale. Two or three weights more and there is a time.
live-filling = Filling as it should.
live-stalled = Stalled. The weight stands still. Open the vent of the bottle, look for a kink by hand along the tube, close the clamp before pulling at the coupling.
live-leaking = Leak. Close the clamp now: { $grams } g are lost. Tray and cloth under the coupling; no hot lamp, no switch and no flame near it, because the carrier burns like diesel. Weigh what is left, pouch and cloths.
live-overfull = Too much is in, by { $grams } g. Close the clamp and stop: a full pouch splits at its seam, a full tank runs over on to hot parts.
live-done = At the mark. Close the clamp, wait 10 minutes and look for wet before refitting.
live-disturbed = The weight jumped. Take hands and tools off the scale; the next weights will show where it stands.

## Values to enter

entry-which-controller = Find which controller holds the counter: a module of its own for the additive on earlier cars, the engine controller on later ones. It is the one that shows a figure for the reservoir; an entry in the other changes nothing or the wrong thing.
entry-save-first = Read and save the old values before anything is typed: what is overwritten cannot be read again.
entry-battery-support = Battery support on: a dip of voltage in the middle of an entry can leave the controller without its figures.
entry-sets = This controller sets its figure to the entry. Enter { $value } { $unit }, what the scale says is in the reservoir.
entry-adds = This controller adds the entry to what it believed. Enter { $value } { $unit }, the gap between its figure and the scale.
entry-unknown-first = It is not known whether this controller sets or adds. Enter { $value } { $unit } and read back: it cannot overshoot either way, and the read-back tells which it is.
entry-unknown-above-scale = The controller believes { $millilitres } mL more than the scale says, and it is not known whether it sets or adds. Do not type: one that adds could not be brought back. Find out by the maker's procedure.
entry-cannot-take-away = The controller believes { $millilitres } mL more than the scale says, and an entry cannot take away. Do not type; use the maker's routine for a new reservoir if there is one.
entry-already-agrees = The controller already agrees with the scale within { $millilitres } mL. Type nothing.
entry-belief-not-read = What the controller believes now was not read. Read it first: without it the entry that fits cannot be known.
entry-gap-less-than-believed = Before the pour the reservoir held { $millilitres } mL less than the controller believed. The gap is a leak, a refill never poured or a dose too high; it is not your typing. Look for it before you go on.
entry-gap-more-than-believed = Before the pour the reservoir held { $millilitres } mL more than the controller believed. Missed doses or a refill never entered; look which.
entry-distance-zero = Distance since this fill: zero, because the fill is fresh.
entry-distance-not-asked = Distance since the fill is not asked. Leave it alone.
entry-distance-not-fresh = The reservoir was not filled full, so the distance since the fill is not zero. Leave it as it is.
entry-filter-untouched = Leave alone what the filter has received and its ash: it was neither cleaned nor replaced, and a zero here wipes its ash history.
entry-filter-new = A new filter has received nothing and holds no ash. Enter zero.
entry-filter-cleaned = The filter was cleaned and weighed: { $percent } % of its ash is left. Enter that share of the figure saved before.
entry-filter-cleaned-not-weighed = The filter was cleaned but not weighed before and after. Do not guess: ask the cleaner for both dry masses.
entry-filter-not-shown = The figure before the cleaning was not read, so the share that is left cannot be worked out. Read it first.
entry-unclear-question = If the meaning of a question is not clear, type nothing and note it: a zero in the wrong place can wipe the filter's history.
entry-read-back = Ignition off for 30 s, on again, and read back. Only the read-back is proof.
entry-makers-procedure = Where the maker's procedure says otherwise, it goes first.
told-sets = The read-back shows that this controller sets. Enter the content by the scale.
told-adds = The read-back shows that this controller adds. Enter the rest.
told-adds-too-much = The controller adds and now believes more than the scale says. An entry cannot take away; use the maker's routine.
told-agrees = The controller now believes what the scale says. Type nothing more.
told-both = The read-back fits both kinds, and the belief is still not that of the scale. Do not type a second time; find out by the maker's procedure.
told-neither = The read-back fits neither kind. Before any second entry: the right controller, the ignition cycled, the right unit?
slip-wrong-unit = Off by a thousand: millilitres and litres were mistaken for each other. Correct the entry.
slip-top-up-as-full = A top-up was entered as a full reservoir. The car will run dry before it says so. Enter the content by the scale.
slip-poured-to-sets = What was poured went to a controller that sets: what was in before is lost to it. Enter the content by the scale.
slip-held-to-adds = The content went to a controller that adds: what it believed before counts twice now. Read back; the car will run dry before it says so.
slip-belief-unmoved = The figure did not move. Either another controller answers for the additive, or the ignition was not cycled.
slip-filter-forgotten = The filter was cleaned or replaced, but what it has received still stands. The ash message will come at once.
slip-filter-wiped = What the filter has received went down although the filter was not touched. Put back the saved figure, or it will be run over its ash limit.
slip-distance = The fill is fresh, so the distance since it is zero.
slip-above-capacity = More than the reservoir can hold was entered. Weigh again, then correct.
slip-belief-off = The figure read back is not what the scale says. Do not hand over like this.

## After a dry spell

dry-fuel-undosed = The fuel in the tank got no additive and stays so until the next refuelling: the dose goes by fuel added.
dry-soot-undoped = The soot in the filter is undoped. It burns only hotter, and slower.
dry-refuel-drive = Refuel well, drive a tank down by half, then expect regenerations again.
dry-share = After that refuelling the tank's fuel holds { $percent } % of the set dose.
dry-proof = The refuelling should take { $millilitres } mL from the reservoir. Weigh or read it: that is the proof that it doses again.
dry-no-standing-regeneration = No standing regeneration now: much undoped soot that lights at last can burn too hot and crack the filter.

## Mix-ups

mixup-no-promise = Nobody can promise that flushing is enough. What was wetted decides.
mixup-makers-procedure = Follow the maker's procedure for the wetted parts; opening fuel under pressure is for trained people.
mixup-authority-decides = The waste classes are a start. The local authority and the carrier decide.
mixup-stage-unknown = Nobody knows whether it was switched on or run. Reckoned as run, because looking costs less than a pump.
mixup-concentration = The wrong fluid is { $middle } % of the volume ({ $low } to { $high }).
lock-aus32-in-fuel = Do not switch on, do not start. AUS 32 sinks to the pick-up of the fuel tank, does not lubricate, and seizes the high-pressure pump within moments.
lock-aus32-in-reservoir = Do not switch on, do not start. The dosing pump would push AUS 32 into the fuel tank, and corrodes.
lock-foreign-in-aus32 = Do not switch on, do not start. The AUS 32 system primes with the ignition and draws the wrong fluid through pump, lines and doser.
lock-neat-additive = Do not start. The fuel holds many times the metal it should; the ash goes into the filter at once, and how much is not known yet.
lock-wrong-generation = The engine may run, but hold service regeneration, dose tests and refuelling: each refuelling doses the wrong amount of metal.
lift-second-person = A second person, not the one who looked first, has looked at the samples.
lift-emptied = Vessel, lines and filter are emptied and rinsed with the right fluid, and what came out is weighed.
lift-clear-samples = Three samples in a row are clear, top and bottom.
lift-reservoir-emptied = The reservoir is emptied, what came out is weighed, and it is filled with the right generation.
lift-signed = A named person signs with the reason. Time alone never lifts it.
danger-high-pressure-pump = High-pressure pump: no lubrication, seizure, and chips that travel on.
danger-fuel-filter = Fuel filter: swells and collapses with water.
danger-corrosion = Plain steel, copper and its alloys, zinc and some aluminium corrode in AUS 32 within hours to days.
danger-rail-injectors = Rail and injectors: crystals and chips. Commonly everything wetted is replaced.
danger-drying = It dries where it stands: urea sets as crystals that block pumps and needles.
danger-dosed-into-fuel = It would be dosed into the fuel: the same damage as AUS 32 in the tank, slower.
danger-dosing-pump = Dosing pump: crystals and corrosion.
danger-dosing-pump-foreign = Dosing pump: another carrier or viscosity may foul it or change its stroke.
danger-doser-seals = Doser, quality sensor and seals: a hydrocarbon swells and fouls them.
danger-scr-catalyst = Catalyst: hydrocarbon cokes it.
danger-scr-metal = Catalyst: the metal of the additive stays on it.
danger-ash-at-once = Filter: the ash of many tanks in one.
danger-injector-deposits = Injectors: deposits from metal at high concentration.
danger-wrong-dose = Dose: metal in the ratio of the two strengths, up to fourfold. Too little means weak regeneration, too much means fast ash.
now-tag-key = Tag the key, take it out of the car and out of reach.
now-no-ignition-sources = No ignition sources, ventilate, tray and absorbent: fuel and the additive's carrier burn, and vapour lies low.
now-keep-samples = Take and keep samples before anything is drained: nobody can take them later.
now-battery-off = Battery off where a door or the key wakes the pump; charger off too.
now-move-by-hand = Move it by hand or on dollies only.
now-drain-tank = Drain the tank from its lowest point with a closed, bonded device; weigh what comes out.
now-rinse-fuel = Rinse with clean diesel, change the fuel filter, sample until clear.
now-low-pressure-side = Lines, filter, water separator and low-pressure pump out; look for water and crystals before anything goes on.
now-wetted-parts = By the maker's procedure: usually tank, lines, pumps, rail and injectors.
now-check-oil = Look at the engine oil; no start with oil over the mark.
now-empty-reservoir = Empty the reservoir by its service opening, weigh what comes out, replace what was wetted by a foreign fluid.
now-check-fuel-for-water = Sample the fuel tank at its lowest point: it may have been dosed already.
now-drain-aus32 = Drain the AUS 32 tank, sample top and bottom.
now-rinse-aus32 = Rinse with de-ionised water, then AUS 32; sample until no film shows.
now-aus32-parts = Where hydrocarbon is found many makers want tank, pump, lines and doser replaced, often the catalyst as well.
now-dilute-note = What has run is in the filter. Note volumes and distance for the ash balance.
now-filter-ash-later = Weigh or measure the filter's ash sooner than planned.
now-stop-dosing = Stop the dosing by the maker's procedure and do not refuel until the reservoir is right.
now-blend-balance = Work the blend out by weight: how much metal went into how much fuel since.
now-tell-insurer = Tell the insurer before parts are thrown away.
never-flame = No flame, no hot work near any of it. Tanks not cleaned and gas-freed have exploded.
never-waste-oil = Never into the waste oil: it makes the whole drum hazardous.
never-drain-a-bit = No draining a bit and driving on: the rest sinks to the pick-up.
never-crank-to-see = No cranking to see: one crank takes it past the high-pressure pump.
never-promise-flush = No promise that a flush will do: what was wetted may fail weeks later.
never-wait = No waiting and no drying out: it sets as crystals.
never-rinse-water = No water into the additive reservoir: it stays, and is dosed into the fuel.
never-prime-aus32 = No ignition: the system primes by itself.
never-drive-it-off = Do not drive it off: each litre burnt leaves its metal in the filter.
never-top-up-over = Do not top up with the right one over it: the blend's strength suits no setting.
never-service-regeneration = No service regeneration while this is open: wrong fluid and heat do not go together.
sample-lowest-point = Clear jar from the lowest point.
sample-stand = Let it stand 10 to 30 minutes: two layers speak for AUS 32 or water.
sample-weigh-layer = Weigh a known volume of the lower layer: 1.09 kg/L speaks for AUS 32, 1.00 for water.
sample-crystals = Let a drop dry on glass: white needles are urea.
sample-water-paste = Water-finding paste on a rod; some react slowly with urea, so read after the time on the tin.
sample-top-and-bottom = Samples from top and bottom: hydrocarbon floats.
sample-film = A film or rainbow on top, or a test strip for hydrocarbon.
sample-colour = Compare colour with clean fuel in like jars; a dark brown tint speaks for additive.
sample-laboratory-metal = A laboratory measures the metal; keep 100 mL sealed for it.
sample-density = Density against that of both labels, at a known temperature.
waste-fuel-mixed = Fuel mixed with AUS 32 or additive.
waste-fuel-filter = Fuel filter.
waste-additive = Additive left over or contaminated; the data sheet decides between this and 16 03 05* or 14 06 03*.
waste-aus32-contaminated = AUS 32 with fuel or metal in it.
waste-wipes = Absorbent, wipes and gloves.
waste-packaging = Empty packaging with residue.
