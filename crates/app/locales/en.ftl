### Sentences of the program, English. Short main clauses, words of the trade, no praise, no exclamation marks.
### A caution says first what to do, then what happens otherwise. Probabilities read "86 of 100".

## What it is, how sure

set-none = nothing is wrong with filter, sensor and additive
set-one = { $a }
set-two = { $a }; together with: { $b }
set-three = { $a }; together with: { $b }; and: { $c }
plain-fault-found = Finding: { $set } ({ $percent } of 100).
plain-fault-likeliest = Likeliest: { $set } ({ $percent } of 100). Not enough to act on alone.
plain-fault-open = Cannot tell yet what is wrong. Likeliest so far: { $set } ({ $percent } of 100).
plain-fault-else = Else it could be: { $set } ({ $percent } of 100).
plain-soot = Soot load { $p50 } g/L; nine times in ten between { $p05 } and { $p95 }.
plain-soot-open = Soot: cannot tell. The facts leave it where it was before any reading, between { $p05 } and { $p95 } g/L.
plain-additive-left-only = Additive left { $p50 } L; nine times in ten between { $p05 } and { $p95 }.
plain-additive-left = Additive left { $p50 } L; nine times in ten between { $p05 } and { $p95 }. Due in about { $due } km.
plain-additive-open = Additive left: cannot tell. No weighing or counter narrowed it: between { $p05 } and { $p95 } L.

## What next

plain-next-no-fault = Next: no repair. Keep these readings as the baseline of this car.
plain-next-soot-first = Next: find out the soot load more closely before any service regeneration; it may reach { $p95 } g/L.
plain-next-repair = Next: { $set-repair }. Read again afterwards, at the same points with the same instrument.
plain-next-test = Next, { $minutes } min: { $observation-question } ({ $observation-how })
plain-next-read-pressure = Next: read the differential pressure with the key on and the engine off, at hot idle, and held at 2500 rpm.

## What not to do

plain-not-start = Do not switch on and do not start: AUS 32 may be in the fuel, and one crank takes it past the high-pressure pump.
plain-not-regenerate = No service regeneration before the soot is shown to be within the filter's safe limit: it may be as high as { $p95 } g/L, and so much can burn hot enough to crack the filter.
plain-not-burn-ash = Do not try to burn it off: ash does not burn. A regeneration only heats a full filter.
plain-not-condemn-filter = Do not condemn the filter on this pressure reading: the reading itself is in doubt. Check sensor and hoses first.
plain-not-clear-codes = Do not clear the fault memory before it is read and saved: what is cleared cannot be read again.

## Why

speaks = { $side ->
    [for] Speaks for it
   *[against] Speaks against it
  }
why-pressure = { $speaks }, factor { $factor }: pressure against flow.
why-sign = { $speaks }, factor { $factor }: { $sign } ({ $value }).
why-observed = { $speaks }, factor { $factor }: { $observation }.
why-not-observed = { $speaks }, factor { $factor }: not so: { $observation }.
why-balance = { $speaks }, factor { $factor }: the additive balance.
why-code-of-maker = Code { $code } is in the maker's own range or not known here. It was not used; look up its meaning.

sign-air-high-load = Air by the flow meter over air by speed and density, under boost
sign-air-low-load = Air by the flow meter over air by speed and density, without boost
sign-boost-lack = Boost short of its target, kPa
sign-egr-excess = Exhaust gas recirculation above its command, %
sign-coolant = Coolant after the drive, degC
sign-before-after = Mean exhaust temperature before less after the filter, K
sign-cold-soak = Exhaust sensor against coolant and air at the cold start, K
sign-temperature-still = Least movement of an exhaust temperature sensor, K

## Open questions

question-soot = How much soot is in the filter?
question-ash = How much ash is in the filter?
question-zero = What does the pressure sensor show at no flow?
question-fault = What, if anything, is wrong?
reason-no-pressure = No pressure was read while gas was flowing.
reason-constant = The pressure did not move while the flow did.
reason-one-flow = The pressure was read at nearly one flow only; a raised zero and soot look alike there.
reason-sensor-doubt = The pressure reading itself is in doubt, or filters of this kind differ too much in what a gram of soot does.
reason-ash-and-soot-alike = Soot and ash raise the pressure in the same way; pressure alone cannot part them.
reason-no-engine-off = No reading was taken with the key on and the engine off.
reason-facts-fit-several = The facts fit several faults about equally well.
reason-memory-not-read = The fault memory was not read, and the rest of the facts fits several faults.
would-key-on = A pressure reading with the key on and the engine off.
would-held-reading = A pressure reading held at 2500 rpm, hot, without load.
would-recording-drive = A recording of a drive with low and high flow, 15 minutes or more.
would-after-regeneration = The same readings again after a complete regeneration.
would-distance-since = The controller's distance since the last complete regeneration.
would-weigh-filter = The filter weighed dry and warm, against its mass as new or cleaned.
would-observe = { $observation-question } ({ $minutes } min)

balance-none = the balance closes, nothing is lost
balance-question-fault = Does the additive balance, and if not, why?
balance-reason-nothing-measured = Content and counter were never read, so nothing can be balanced.
balance-reason-content-not-measured = The content of the reservoir was never weighed and its level never read.
balance-reason-counter-not-read = The content was measured, but the controller's counter was never read beside it.
balance-reason-too-short = Since the last look at the content too little was used; the set dose must have drawn { $drawn-ml } mL to show a fault.
balance-reason-too-wide = What left the reservoir is known to { $per-cent } % only; a dose a quarter too low hides in that.
balance-weigh-now = The reservoir weighed now (gross, tare, and the step of the scale).
balance-weigh-again = The reservoir weighed once more after { $km } km.
balance-read-counter = The controller's additive counters, read.
balance-read-counter-again = The controller's additive counters, read a second time.
balance-fuel-receipts = Fuel burnt since the last fill, from receipts or a fleet card.
balance-give-dose = The set dose of the car.
balance-give-tare = The mass of the empty reservoir.

## Proof

proof-improved = Improved: the resistance fell to { $ratio } of what it was.
proof-worse = Worse: the resistance rose to { $ratio } of what it was.
proof-no-change = No proven change: the resistance is { $ratio } of what it was, inside the guard band or the scatter.
proof-too-wide = Cannot tell: the readings scatter too much to compare before and after.
proof-one-side = Cannot tell: pressure under flow was read only before or only after the work.
proof-sensor-replaced = Cannot tell: the pressure sensor was replaced between before and after, so the two were read with different instruments.
proof-too-soon = Cannot tell: pressure was read during a regeneration or within ten minutes of one; let the filter settle and read again.
proof-other-instrument = Cannot tell: before and after were read with different instruments.
proof-before-unclear = Cannot tell: the resistance before the work was not clear of zero.

## What could not be used

problem-recording-unread = The recording { $file } could not be read.
problem-no-pressure = { $file } holds no filter pressure.
problem-no-flow = { $file } holds neither air mass flow nor enough to work the exhaust flow out.
problem-no-temperature = { $file } holds no exhaust temperature at the filter.
problem-few-samples = The estimate stands on few effective samples ({ $effective }); take its digits with care.

## Cautions

caution-hot-exhaust = Keep clear of the exhaust outlet and keep anything that burns away. In a regeneration the gas can pass 600 degC, in the workshop and on dry grass.
caution-held-speed = Holding the engine at a speed: parking brake on, wheels chocked, hood or extraction at the tailpipe. Exhaust gas kills in closed rooms.
caution-two-fluids = Two fluids, two holes: additive and AUS 32. Read the label and look twice before a pour; the wrong one costs a pump or a catalyst.
caution-no-flame = No flame and no hot lamp near fuel or additive: their vapour lies low and a flame finds it.
caution-lift = Reservoir work on the lift: check the arms before going under, and support what is unbolted; a full pouch or tank is heavy.
caution-ash-dust = Filter ash is dust for the lungs: mask, gloves, and a vacuum cleaner of the right class. Never blow it out with air.
caution-oil-level = Read the oil level before any regeneration. Fuel in the oil can let the engine run away.
caution-maker-first = Where the maker's procedure or a local rule says otherwise, it goes first. The filter stays in: taking it out or getting round it is forbidden, and no repair.

## Missing facts

fact-filter-material = what the filter is made of
fact-filter-cell-density-cpsi = its cell density
fact-filter-volume-l = its volume, or its diameter and length
fact-filter-fitted-odometer-km = the odometer at which it was fitted
fact-reading-differential-pressure-key-on = the pressure with the key on, engine off
fact-reading-differential-pressure-held = the pressure held at 2500 rpm
fact-reading-exhaust-temperature-before = the exhaust temperature before the filter
fact-reading-intake-air-mass-flow = the intake air mass flow at the same points
fact-reading-distance-since-regeneration = the distance since the last regeneration
fact-sensor-plumbing = how the pressure sensor is plumbed
fact-narrows = { $what } ({ $key }): about { $percent } % narrower for { $figure }
figure-soot_load_g_per_l = soot
figure-left_l = additive left

## The text answer

head-case = { $title }
head-figures = Figures (nine times in ten)
head-faults = What it may be, of 100
head-faults-told = The facts narrowed this list.
head-faults-open = The facts hardly narrowed this list: it is close to what comes in at the door.
head-additive = Where the additive went, L
head-additive-faults = Additive side, of 100
head-why = Why
head-missing = What would help most
head-open = Cannot tell
head-proof = Before and after
head-cautions = Cautions
head-problems = Not read or not used
head-inputs = Made from
col-figure = figure
col-best = best
col-range = from – to
col-unit = unit
col-fault = fault
col-of-100 = of 100
col-counts-from = counts from
col-repair = what mends it
cell-cannot-tell = cannot tell
cell-cannot-tell-range = (between { $from } and { $to }, not narrowed)
row-soot-load = soot load
row-soot-mass = soot mass
row-ash-mass = ash mass
row-zero = sensor at no flow
row-standard = standard pressure drop
row-standard-new = the same as new
row-ratio = ratio to as new
row-left = additive left
row-used = used since the last full fill
row-expected = expected use since then
row-dose-factor = true dose over set dose
row-leak = leak
row-due-km = to the reserve
row-due-days = to the reserve
row-poured = poured, with what was in
row-dosed-controller = dosed, as the controller believes
row-dosed-physics = dosed, by fuel burnt and set dose
row-left-now = left
row-unexplained = unexplained
note-standard = Standard pressure drop: at { $flow } g/s exhaust of 300 degC. Filter volume taken: { $volume } L.
note-due = Windows to the reserve of { $reserve } L hold eight times in ten.
note-due-not-before = The reserve is not reached before { $from } km (nine times in ten); how much later cannot be told.
note-due-nothing = When the reserve is reached cannot be told: the window is too wide to plan by. Weighing the reservoir narrows it most.
fig-due = To the reserve of { $reserve } L: { $km } km ({ $km-from } to { $km-to }), { $days } days ({ $days-from } to { $days-to }); these windows hold eight times in ten.
note-rest = each of the others
note-open-reason = { $reason } Would decide:
note-proof = { $reason } Ratio after to before: { $p50 } ({ $p05 } to { $p95 }); improved with { $percent } of 100.
none-fault = Nothing is wrong
note-input = { $path }, blake3 { $hash }
note-program = sootwright { $version }, { $time }. Pressures kPa, flows g/s, loads g per litre of filter volume, additive L.
note-report = Report: { $path }

## The report

page-title = { $title } · sootwright
page-untitled = one car
page-skip = To the answer
fig-pressure = Pressure against flow
fig-pressure-label = Pressure shown against exhaust flow: { $count } averaged points; the fitted band and the band of the same filter as new at { $degc } degC
fig-pressure-caption = Hatched steep: what the sensor would show with this filter at { $degc } degC, nine times in ten. Hatched flat, thin lines: the same filter as new. Rings: readings from recordings. Diamonds: typed readings. Filled: before the work. Bars: twice the standard uncertainty.
fig-pressure-none = No pressure was read, so there is nothing to draw against flow.
fig-axis-flow = exhaust flow, g/s
fig-axis-pressure = pressure shown, kPa
fig-fitted = this filter
fig-as-new = as new
fig-recording = The recording { $file }
fig-recording-label = Pressure, exhaust flow and temperature of { $file } over { $minutes } minutes, with the stretches that were used
fig-recording-caption = Heavy line above: stretches used. Hatched from top to foot: regeneration. Hatched along the foot: left out (engine off, gaps, sensor at its end, before a burn).
fig-strip-pressure = pressure, kPa
fig-strip-flow = air or exhaust flow, g/s
fig-strip-speed = engine speed, rpm
fig-strip-temperature = exhaust, degC
fig-strip-time = minutes
fig-state-used = used
fig-state-regeneration = regeneration
fig-state-dropout = gap
fig-state-engine_off = engine off
fig-state-saturated = at its end
fig-state-before_burn = before the burn
fig-faults-caption = Bars show probability, with a rule of tenths below.
fig-intervals-caption = Arrow lines: nine times in ten. Tall line: best figure. Broken, without a best figure: cannot tell, since the facts did not narrow it.
fig-waterfall = Additive balance in litres: { $sentence }
fig-waterfall-caption = Each row hangs from the end of the row above. Outline: what the controller believes. Hatched in red: what does not add up.
fig-waterfall-sentence = poured { $poured }, dosed { $dosed }, left { $left }, unexplained { $unexplained }
page-provenance = Made from
page-made = Made by sootwright { $version } on { $time } (UTC).
page-units = Units: pressure kPa, exhaust flow g/s, temperature degC, soot and ash g or g per litre of filter volume, additive litres. Intervals hold nine times in ten unless said otherwise.
page-hash = blake3
page-read-only = This program only reads. Nothing was written to the car.

## What a recording holds (decode)

decode-file = { $file }: { $format }
decode-counts-frames = { $duration }; frames { $frames }, ids { $ids }, complete messages { $messages }{ $lines ->
    [0] {""}
   *[other] , lines { $lines }
}
decode-counts-rows = { $duration }; rows { $rows }, lines { $lines }
decode-begins = Begins { $time }
decode-lost = Lines lost { $lost }, transfers broken off { $transport }, values marked not available { $absent }
decode-vin = Vehicle identification number: { $vin }
decode-signals = Signals
decode-no-signals = No known signal in it.
decode-codes = Trouble codes
decode-notes = Notes
decode-problems = Problems
decode-again-lines = the same { $count ->
    [one] in one further line
   *[other] in { $count } further lines
}, the last one { $last }
decode-again-bytes = the same at { $count ->
    [one] one further place
   *[other] { $count } further places
}, the last one byte { $last }
decode-more = and { $count } more; see --json
col-signal = signal
col-source = source
col-count = samples
col-rate = per s
col-smallest = from
col-largest = to
col-gap = longest gap, s
col-quality = mind
decode-traffic = Traffic
decode-bus = { $bus }: { $frames } frames of { $ids } ids; most of { $busiest }
decode-services = Services: { $list }
decode-delay-answer = { $source }: values come { $delay } ± { $uncertainty } ms late (half the time an answer takes)
decode-delay-broadcast = { $source }: values come { $delay } ± { $uncertainty } ms late (half the shortest period)
decode-delay-alignment = { $source }: values come { $delay } ± { $uncertainty } ms late (aligned by the speed both sources show)
decode-dropouts = { $count ->
    [one] { $count } dropout
   *[other] { $count } dropouts
}
decode-frozen = stands still for { $seconds } s
standard-input = standard input
error-no-parquet = This program was built without Parquet; build it with the feature `parquet`, or take csv or json-lines
cli-recordings = Recordings; a folder stands for all files in it, - for standard input
cli-signal = Only this signal, by name; may be given several times
cli-from = Only from this second of the recording on
cli-to = Only up to this second of the recording
cli-dbc = Description of further messages (DBC); may be given several times
cli-rows = Write samples instead of a summary, one row a sample
cli-rows-out = Where to write: a file, or a folder that gets one file for each recording; otherwise standard output
col-code = code
col-memory = memory
col-meaning = meaning
memory-stored = stored
memory-pending = pending
memory-permanent = permanent
memory-freeze-frame = freeze frame
memory-uds = UDS { $status }
memory-active = active
memory-previously-active = was active
memory-other = other
meaning-unknown = not known here (maker's own range?)

## Demo

demo-written = The invented case lies in { $path }.
demo-report = The report lies in { $path }: open it in a browser.
demo-next = Next, a case of your own: copy that case.toml and type what you read off the car; what you do not know, leave out.

## Additive commands

out-candidates = What it may be, of 100
out-next-tests = Next tests, the most telling first
out-test = { $test }: { $bits } bit in { $minutes } min
out-urea = Urea { $from } to { $to } % by mass, by the measured table.
test-density = density by hydrometer
test-weighed_volume = weighing a known volume
test-refractive = refractometer
test-look = look in clear glass
test-drop_in_water = drop in water
test-label = label or code
out-dose = { $volume } mL of concentrate per L of fuel make { $metal } mg metal per kg of fuel.
out-dose-use = Use { $use } mL per 1000 km.
out-dose-range = { $litres } L last { $km } km.
out-dose-oxide = Oxide ash { $grams } g per 1000 km.
out-strength-blend = Blended, the reservoir holds { $strength } g metal per L.
out-strength = The concentrate holds { $strength } g metal per L.
out-fill-minutes = The fill takes about { $p50 } min; nine times in ten between { $p05 } and { $p95 }.
out-fill-stops = The flow stops by itself, likelier than not.
out-fill-mass = Stop when { $p50 } g have moved ({ $p05 } to { $p95 }); { $tube } g stay in a tube that was empty.
out-levers = What makes it faster
out-lever = { $say } Saves { $p50 } min ({ $p05 } to { $p95 }).
out-take = Take { $ml } mL from { $container }, lot { $lot }.
out-short = The shelf is short of { $ml } mL.
out-refused = Left out (out of date or blocked): { $list }.
out-order = Order { $containers } containers now. Reorder point { $point } L, of it { $safety } L against chance.
out-order-none = Nothing to order now. Reorder point { $point } L, of it { $safety } L against chance.
out-order-life = Shelf life, not the wish for cover, set the number.
out-order-waste = One container alone outlives its shelf life with { $percent } of 100.
out-demand = Expected need { $mean } L, standard deviation { $sd } L.
out-lot-cars = Lot { $lot } went into: { $cars }.
out-car-lots = { $car } got: { $lots }.
out-lots = { $pours } pours with a lot; { $untold } pours without one cannot be traced.
head-forecast = Due cars ({ $cars } of { $of })
head-demand = Expected need within { $days } days of { $today }
head-plan = Which container for which car, first expired first out
head-broken = Could not be read
note-forecast = Dates count from the last dated fact of each car; between p10 and p90 lie eight in ten. --csv and --json hold all columns.
fluid-not-told = not told
col-list-car = Car
col-list-fluid = Fluid
col-list-left-l-p50 = Left, L
col-list-due-km-p50 = Due in, km
col-list-due-odometer-km-p50 = At odometer, km
col-list-due-date-p10 = Early
col-list-due-date-p50 = Date
col-list-due-date-p90 = Late
col-list-due-in-horizon = In horizon
col-list-fault = Fault told
col-list-cars = Cars
col-list-expected-fills = Fills
col-list-mean-l = Mean, L
col-list-sd-l = Spread, L
col-list-on-shelf-l = On shelf, L
col-list-reorder-point-l = Reorder at, L
col-list-order-containers = Order, containers
col-list-date = Date
col-list-container = Container
col-list-lot = Lot
col-list-ml = mL
col-list-short-ml = Short, mL
col-list-odometer-km = Odometer, km
col-list-id = Id
col-list-name = Name
col-list-density-20-low = kg/m3 at 20 degC, from
col-list-density-20-high = to
col-list-viscosity-20-low = mm2/s at 20 degC, from
col-list-viscosity-20-high = to
col-list-metal-low = Metal g/L, from
col-list-metal-high = to
col-list-mark = Mark
col-list-controller = Controller
col-list-capacity-low = L, from
col-list-capacity-high = to
col-list-dose-low = mL per L, from
col-list-dose-high = to
out-save-first = Save first
out-values = Values to enter
out-believes = Afterwards it believes { $ml } mL.
out-leave = Leave alone
out-slips = Slips
out-slips-none = What was typed and read back agrees with the scale.
out-told = After the first entry
meaning-held_now = content now
meaning-added_now = added now
meaning-distance_since_fill = distance since the fill
meaning-filter_received = additive the filter has received
meaning-filter_ash = ash in the filter
out-lock = DO NOT SWITCH ON, DO NOT START
out-hold = Hold regeneration, dose tests and refuelling
out-lifted = Lifted only after
out-endangers = What it endangers
out-now = Now
out-never = Never
out-samples = Samples
out-waste = Waste
out-waste-hazardous = { $code } (hazardous): { $say }
out-waste-plain = { $code }: { $say }
out-times-usual = The metal dose is { $p50 } times the usual ({ $p05 } to { $p95 }).
out-dry = After a dry spell
out-live = Type "time_s receiver_g" or "receiver_g" per line, or send a scale's plain lines here. An empty line ends it.
out-live-state = { $moved } g moved. { $say }
out-live-left = About { $p50 } min left ({ $p05 } to { $p95 }). Stop at { $stop } g on the scale.
out-live-line = Line { $line } is no weight and was left out: { $text }

## Command line

cli-about = From what is in hand on the bench to the state of a diesel particulate filter and its additive, with how sure that is.
cli-after = Exit status: 0 answered (also in part), 1 input refused, 2 usage, 3 neither soot nor fault told.
cli-assess = Assess one car from its case file
cli-case = Case file (TOML, schema sootwright.case/1)
cli-json = Print the answer as JSON
cli-report = Write the report into this file (HTML, self-contained)
cli-knowledge = Folder with rows of your own, laid over the built-in knowledge
cli-decode = List what is inside recordings
cli-files = Recordings: candump text or tables, packed with gzip or not
cli-demo = Write an invented case, assess it, and say where the report lies
cli-out = Folder to write into
cli-schema = Print the JSON Schema of a format
cli-schema-which = Which format
cli-additive = The additive side: fluids, dose, fill, values to enter, balance
cli-balance = Balance of the additive from a case file
cli-reserve = Content at which the car is due, litres (else the case's reserve, else a tenth of the capacity)
cli-identify = Which fluid is this, and may it be poured
cli-dose = Dose, use, range and oxide ash
cli-fill = Minutes of a fill by gravity, what makes it faster, where to stop
cli-live = Watch the fill: type weights as you read them, or give --scale; an empty line ends it
cli-scale = Take the weights from this device or file instead of the keyboard, one a line (set its speed first)
cli-entry = Values to enter after a fill, and slips
cli-mixup = A wrong fluid in a vessel: what to do and what never
cli-stock = Which container first, when to order how much
cli-knowledge-command = The knowledge: what is doubtful about it, and a drawing
cli-knowledge-check = List what is doubtful: rows nobody uses, faults that no test tells apart, numbers too sure
cli-knowledge-draw = Draw faults and observations as SVG
cli-knowledge-close = Write a case whose end is known into a file of closed jobs: what was confirmed, by what proof, what was said before
cli-knowledge-learn = Work closed jobs and counts into rows of your own, laid over the built-in ones with --knowledge
cli-knowledge-count = Count closed jobs into a file that may leave the workshop: no car, no person, no day of a job in it
cli-knowledge-join = Put counts of several workshops into one file; the same counts twice change nothing
cli-knowledge-score = How good your own diagnoses were: Brier score, logarithmic score, reliability
cli-close-number = Your own number of the job; it stays in your file
cli-close-confirmed = A fault that was there, shown by proof; may be given several times
cli-close-nothing = Nothing was wrong, shown by proof
cli-close-proof = What showed it; without proof the job is kept and not counted
cli-close-back = Whether the car came back with the same complaint within 1000 km; close the job again once you know
cli-close-on = Day on which it was closed, YYYY-MM-DD (else today, UTC)
cli-close-jobs = The file of closed jobs to write into
cli-learn-files = Files of closed jobs and of counts
cli-learn-name = The name your workshop made up for itself, a to z, 0 to 9 and hyphens; not its real name
cli-learn-into = Folder to write learned-*.toml into; give it with --knowledge from then on
cli-count-jobs = Files of closed jobs
cli-count-out = The file of counts to write
cli-join-counts = Files of counts
cli-score-plot = Draw the reliability as SVG
cli-draw-out = Write the drawing into this file (else to standard output)
cli-draw-fault = Draw this fault only; may be given several times
cli-forecast = When each car of a folder is due, what all need, what to order
cli-lots = Which cars got a lot, which lots a car got
cli-fluids = Fluids: list, export, bring in your own
cli-reservoirs = Kinds of reservoir and car types: list, export, bring in your own
cli-cases = Case files, or folders with case files in them
cli-shelf = The shelf and its rules (TOML); --shelf-example prints one
cli-shelf-example = Print an example of a shelf and stop
cli-today = Today, as 2027-03-01 (else the shelf's, else the clock's)
cli-horizon = Days to look ahead (else the shelf's, else 90)
cli-which-list = Which list goes out as CSV
cli-sort = Sort by a column; with - before it, from the largest
cli-only = Only rows whose column holds these words, or COLUMN<NUMBER, COLUMN>NUMBER; may be given again
cli-csv = Answer as CSV
cli-lot = Only this lot, and the cars that got it
cli-car = Only this car, and the lots it got
cli-export = Print everything as one open file (TOML) that can be brought in again
cli-import = Lay this file over what is there; with --knowledge it is also copied there
cli-next = The next step: ask, test, repair, prove or refer, by expected cost to a fixed car, and why
cli-ready = A set-up that is in place already (lift, engine_hot, scan_session ...); may be given several times
cli-prove = Did the work help: before against after, particle number and opacity against the limits, additive on the scale, codes
cli-prove-country = Country of the inspection, as two letters; without it the limits of the EU
cli-prove-registered = First registration, as 2015-03-01
cli-prove-euro = Euro number of the emission class: 4, 5 or 6
cli-prove-plate = Opacity on the car's plate, 1/m; comes before any other limit
cli-due = What comes: additive, ash and soot trouble by odometer and date, as windows that hold eight times in ten
cli-trips = Will this driving ever finish a regeneration, and what change of habit would
cli-trips-town = A trip in town, kilometres and times a week, for example 3x10; may be given several times
cli-trips-country = A trip on country roads, kilometres and times a week
cli-trips-motorway = A trip on the motorway, kilometres and times a week
cli-trips-trace = A recording or CSV with the road speed of one trip; may be given several times
cli-trips-per-week = How often a week each recorded trip is driven
error-trips-words = { $text } is not a trip; write kilometres and times a week, for example 12x5
error-trips-none = no trips were given; use --town, --country, --motorway or --trace
head-prove = Proof
head-prove-points = Point by point
head-prove-inspection = Particles and smoke
head-prove-additive = Additive on the scale
head-prove-weak = What proves little
col-point = Point
col-before = Before, kPa
col-after = After, kPa
col-fall = Fall, kPa
col-expanded = ±, kPa
col-verdict = Verdict
out-prove-nothing = Nothing to compare: no reading or recording says before and after the work. Give readings role = "before" and role = "after".
out-prove-points-note = Key-on readings are taken off. ± is the expanded uncertainty of the difference (coverage factor 2): instrument, scatter of repeated readings, and the point set again. A fall counts as shown when it is larger.
out-verdict-improved = improved
out-verdict-worse = worse
out-verdict-no-change = no proven change
out-verdict-cannot-tell = cannot tell
out-judged-particles = Particle number { $value } ± { $expanded } per cm³ ({ $when })
out-judged-opacity = Opacity { $value } ± { $expanded } per m ({ $when })
out-when-before = before the work
out-when-after = as the car stands
out-against-pass = Pass: below { $limit } at { $condition } ({ $country }). { $source }
out-against-pass-with-remark = Pass with a remark: below { $limit } at { $condition } ({ $country }), not surely below the { $remark } from which a remark is made. { $source }
out-against-fail = Fail: above { $limit } at { $condition } ({ $country }). { $source }
out-against-inconclusive = Inconclusive: { $limit } at { $condition } ({ $country }) lies within the uncertainty; measure again. { $source }
out-against-not-binding = Not binding: a recommendation.
out-against-memory = The limit is from memory: read the source first.
out-judged-open = { $count } limits may hold: tell --registered and --euro.
out-judged-none = No limit is known for this country and date.
out-judged-note = A workshop count is evidence, not the official test, unless the instrument is approved and its user authorised.
out-judged-smoke = Cars with a broken or missing filter can pass a smoke test too: opacity alone proves no filter.
out-fill-agrees = The scale rose by { $rise } g and { $poured } g were poured: they agree within { $expanded } g.
out-fill-differs = The scale rose by { $rise } g, but { $poured } g were poured: they differ by more than { $expanded } g. Look for a spill, a wrong quantity or a wrong tare.
out-fill-alone = The scale rose by { $rise } ± { $expanded } g; how much was poured is not told.
out-fill-dose = Whether the doser passes it on is shown by a caught dose: sootwright additive dose.
out-weak-cleared = No codes are stored, but the memory was cleared: not tested since clearing is no proof.
out-weak-empty = No codes are stored: weak. Of cars that fail the particle count few have one.
out-weak-codes = Codes are stored after the work: { $codes }.
out-weak-monitors = A monitor that says complete proves little; one that says not complete has tested nothing since clearing.
head-due = What comes
label-due-additive = Additive at its reserve
label-due-ash = Filter full of ash
label-due-soot = Soot trouble (a burn that does not finish)
out-due-km = { $what }: in { $best } km ({ $from } to { $to })
out-due-km-prior = { $what }: cannot tell for this car; such cars in { $from } to { $to } km
out-due-far = 120 000 or more
out-due-not-before = { $what }: not before { $from } km; how much later cannot be told
out-due-nothing = { $what }: cannot tell; any distance from { $from } km to { $to } km fits, too wide to plan by
out-due-odometer = odometer { $best } km ({ $from } to { $to })
out-due-date = date { $best } ({ $from } to { $to })
out-due-no-year = No dates: tell car.distance_per_year_km, or give rows of different years their date and odometer.
out-due-note = Each window holds eight times in ten if the car goes on being used about as it was.
head-trips = Does this driving finish a regeneration?
out-trips-yes = Yes: { $p } of 100 burns that the controller asks for finish.
out-trips-sometimes = Not reliably: { $p } of 100 burns that the controller asks for finish before it gives up.
out-trips-no = No: only { $p } of 100 burns that the controller asks for finish before it gives up.
out-trips-week = The week: { $km } km; the longest stretch of warm, steady driving lasts about { $minutes } minutes.
out-trips-add = What would help: once a week { $minutes } minutes at a steady 70 km/h or more after the engine is warm; then { $p } of 100 finish.
out-trips-note = Signs of a burn under way are higher idle speed, hot smell and a running fan: then drive on until it is over. Speed limits and traffic come first.
head-life = The car's life
fig-life-label = Life chart: { $count } visits from { $from } to { $to } km; additive, soot and ash with what may come.
fig-life-odometer = odometer, km
fig-life-additive = additive left, L
fig-life-soot = soot load, g/L
fig-life-ash = ash load, g/L
fig-life-today = today
fig-life-reserve = reserve { $value } L
fig-life-soot-limit = the substrate stands { $value } g/L
fig-life-ash-limit = cleaned at { $value } g/L
fig-life-caption = Hatched boxes: nine in ten at each visit, heavy stroke the best figure. Strokes under soot: burns, long where finished. F filter, C cleaned, S sensor replaced. Right of today: what may come, the dimension line holds eight times in ten.
out-life-visit = { $km } km { $date }: soot { $soot } g/L ({ $from } to { $to }), standard pressure drop { $drop } kPa
out-life-sensor = before it the pressure sensor may have been changed without a row: { $p } of 100
out-life-filter = before it the filter may have been changed without a row: { $p } of 100
out-life-burn = less than 1 g/L of soot was left after its regeneration with { $p } of 100
cell-not-known = not known
cli-plan = The plan of work: steps, minutes, parts, interlocks, proof, quote; ways side by side
cli-timetable = Several cars in one timetable over people and lifts: one car's waiting is another's work
cli-timetable-cases = Case files, one a car
cli-people = People who work
cli-lifts = Lifts
cli-car-fault = A fault accepted as found in the Nth car, as in 2=ash_full (else its likeliest fault set); may be given several times
cli-plan-fault = A fault that is accepted as found (else the likeliest fault set); may be given several times
cli-asked = What is asked for, in the customer's words; a wish that the law forbids gets the law in general terms and the lawful ways with prices
cli-settings = The workshop's own rates, prices and tax (schema sootwright.workshop/1)
cli-facts = Facts (TOML); --example prints one to start from
cli-example = Print an example of the facts and stop

## Refusals

error-read = { $path }: cannot be read: { $why }; check the path and the permissions
error-no-cases = { $path }: no case file in this folder; a life is told by FOLDER/*.toml or FOLDER/*/case.toml, one file for each visit
error-write = { $path }: cannot be written: { $why }; choose another place
error-not-text = { $path }:{ $line }: this is not UTF-8 text; save the file as UTF-8
error-refused = { $count ->
    [one] The case was refused for one fault; mend it and start again.
   *[other] The case was refused for { $count } faults; mend them and start again.
  }
error-facts = { $path }:{ $line }:{ $column }: { $why }; see --example for the form
error-physics = { $path }: { $why }
error-no-cases = There is no case file at this place; give a case.toml or a folder that holds some.
error-car-type = reservoir.car_type: { $why }; add the row to a file of reservoirs in your --knowledge folder
error-column = There is no column { $key }; known are: { $known }
error-condition = { $condition } is no condition; write COLUMN=WORDS, COLUMN<NUMBER or COLUMN>NUMBER
error-csv = The list could not be written as CSV: { $why }
error-date = That is no date ({ $why }); write it as 2027-03-01
error-horizon = The days to look ahead must be more than zero
error-import-exists = { $path } is already there with other content; give your file another name or take the old one away
error-needs-facts = Give a file of facts, or --example to print one.
error-tells-nothing = Neither the soot nor the fault is told by these facts. The list of what it cannot tell says what would decide it.
error-json = The answer could not be written as JSON: { $why }
error-internal-demo = The demo could not be written: { $why }

## The next step

head-next = Next step
head-next-answers = What each answer would do
head-next-remain = What remains possible
head-next-moved = What moved the likeliest fault
head-next-change = What would change the mind
head-next-others = Other first steps
head-next-rules = Safety rules that hold now
out-next-no-fault = no fault
out-next-and = { " " }and{ " " }
out-next-which-of = Which of these holds, if any: { $states }?
out-next-repair = Repair, because { $fault }: { $action }.
out-next-final-test = Prove that it is mended: the same readings as before, a road test, codes read again.
out-next-refer = Refer the car to a specialist: what is left to find out here costs more than it saves.
out-next-how = How: { $how }. Who: { $who }.
out-next-proof = Proof that it worked: { $proof }.
out-next-set-up = First: { $label } ({ $minutes } min).
out-next-first = This comes before: { $action } The rule: { $rule }.
out-next-with-remedy = { $rule }.
out-next-remedy = { $rule }; first { $remedy }
out-next-cost = The step takes { $minutes } min and costs about { $step } EUR with what must be set up. To a fixed car about { $expected } EUR are to be expected on average; without any further test { $bare } EUR; were the fault known now { $bound } EUR, and no plan can do better than that.
out-next-yes = Yes
out-next-no = No
out-next-none-of-these = None of these
out-next-answer = { $answer } ({ $p } of 100): then { $set } leads ({ $then-p } of 100). Next: { $then } About { $eur } EUR from there.
out-next-set = { $set }: { $p } of 100
out-next-moved-yes = Seen: { $observation }. Without it { $without } of 100, with it { $with }.
out-next-moved-no = Not seen: { $observation }. Without this { $without } of 100, with it { $with }.
out-next-if = If so: { $label }
out-next-if-not = If not: { $label }
out-next-changer = { $answer } ({ $p } of 100). Then { $set } leads.
out-next-other = { $action } { $minutes } min; about { $eur } EUR to a fixed car, { $more } EUR more.
out-next-barred = Not proposed, since not shown safe with this soot: { $set-ups }. The command regeneration says what would show it.
out-next-guesses = Most numbers behind this are guesses by whoever wrote the knowledge, not counts (sootwright knowledge check says which). The maker's procedure comes first.
error-no-set-up = No set-up is called { $id }; there are { $known }.
error-no-fault-set = No fault set has a probability; the case cannot be planned for.

## The plan of work

head-plan = Plan of work
head-quote = Quote
out-asked = Asked for: { $asked }
out-asked-lawful = Nothing in these words is a wish to take a filter out of use, hide it or fool a test.
out-asked-after = Lawful once the work behind it is done and proven; the words ({ $words }) do not say that it is. A code is cleared after its cause is mended, a counter is set to what was weighed or filled, an ash value to what was cleaned or fitted.
out-asked-refused = This is read as a wish to take a filter out of use, to hide it, or to fool sensors, codes, counters or a test ({ $words }). The program does not help with that, and the workshop should refuse it in writing. If something else was meant, say what the part comes out for.
out-asked-law = In the European Union, the United Kingdom and the United States alike it is forbidden to take emission equipment out of a car or out of action, by hardware or by software, for whoever does it and for whoever drives it. The car fails its inspection, and may lose its approval. Particle counting finds what no code shows.
out-asked-sources = In general terms, no legal advice: Regulation (EC) 715/2007 article 5(2) and Directive 2014/45/EU annex I item 8.2.2.1 (both from memory); United Kingdom: Construction and Use Regulations 1986, regulation 61A(3), Road Traffic Act 1988, section 75; United States: 42 USC 7522(a)(3), 40 CFR 1068.101(b).
out-asked-instead = What can be done lawfully stands under the ways, with price and with what each is likely to mend; or another car. Often the cheap cause was never looked for: see the next step.
head-ways = Ways side by side
out-plan-likeliest = For the likeliest: { $what } ({ $p } of 100). Nobody has accepted this as found yet.
out-plan-accepted = For what was accepted as found: { $what }.
out-plan-times = { $hands } min of hands; { $free } min of waiting in which another car can be worked on. One person needs { $through } min from begin to end; with enough hands { $critical } min (the critical path).
out-plan-step = { $number }. { $text } ({ $hands } min)
out-plan-step-wait = { $number }. { $text } ({ $hands } min of hands, { $wait } min waiting)
out-plan-interlocks = Not ticked unless: { $list }
out-plan-ppe = Wear: { $list }
out-plan-tools = Tools: { $list }
out-plan-parts = Parts: { $list }
out-plan-fluids = Fluids, with lot and expiry: { $list }
out-plan-enter = Enter: { $list }
out-plan-proof = Keep as proof: { $list }
out-plan-source = Figures of this step: { $source }
out-plan-law = Not among the ways: to take a filter out of use, to hide it from the controller or to fool a test. That is forbidden for owner and workshop alike in the European Union, the United Kingdom and the United States, and the car fails its inspection; lawful ways are those above, an approved replacement, or another car.
out-plan-maker = The maker's procedure and local codes come first; minutes are common practice, chances are guesses.
out-quote-labour = Work, hours
out-quote-line = { $name }: { $quantity } · { $net } { $currency }
out-quote-sum = { $net } { $currency } before tax, tax { $tax }, together { $gross } { $currency }. It holds { $days } days.
out-quote-invented = These are the prices of an invented workshop; give your own with --settings.
out-quote-unpriced = The price list lacks, and the sum is without: { $list }.
out-quote-not-included = Not included: the diagnosis so far, parts and work for faults not named here, fuel, small parts.
out-quote-extra-finds = Extra finds: work stops, you are called, and nothing is done without your word. Old parts are offered back.
out-way = { $label }: { $gross } { $currency } with tax, { $minutes } min of hands, { $hours } h until the car can go; mends all that is wrong in { $cures } of 100, back within 1000 km in { $back } of 100.
out-way-no-cure = { $label }: this alone will not cure the car.

## The knowledge

head-doubts = What is doubtful
out-knowledge-read = { $faults } faults, { $observations } observations and { $procedures } procedures were read; every reference leads somewhere and every probability lies between 0 and 1.
out-knowledge-mark = { $mark ->
    [guess] { $count } rows are guesses by whoever wrote them
    [practice] { $count } rows are common practice, no source
    [seen] { $count } rows are informed by something published
   *[counted] { $count } rows were counted by a workshop
  }
out-no-doubts = Nothing.
out-nothing = nothing does
out-doubt-set-up = The set-up { $id } is needed by no test and no repair.
out-doubt-observation = No fault moves this observation, so making it tells nothing: { $observation }.
out-doubt-no-signs = Nothing speaks for this fault: { $fault }. No observation becomes twice as likely under it.
out-doubt-no-procedure = No procedure says step by step how this is mended, so its plan is one line: { $fault }.
out-doubt-no-work = No row says how this is repaired, so it cannot be planned for: { $fault }.
out-doubt-background = likelihood.{ $fault }.{ $observation } is the background itself and says nothing.
out-doubt-certain = likelihood.{ $fault }.{ $observation } is { $p }: so sure that one slip of the hand would decide.
out-doubt-alike = All tests together hardly tell these two apart (overlap { $overlap }): { $a } / { $b }. What tells most: { $best }.
out-doubt-alike-harmless = All tests together hardly tell these two apart (overlap { $overlap }), and one repair mends both: { $a } / { $b }.
error-no-fault = No fault is called { $id }; sootwright knowledge draw shows all of them, knowledge/faults.toml names them.
fig-knowledge = Faults and the observations they move
fig-faults = Fault
fig-observations = Observation
fig-prior = share among the cars that come
fig-line-meaning = full line: at least twice as likely under the fault; broken: its absence is at least twice as likely
fig-observation-row = { $label } · { $minutes } min{ $set-up }

## Columns of the fluids

col-fluid = fluid
col-id = id

# Simulated drives.
cli-simulate = Write invented recordings with known truth, for training and tests
cli-simulate-drive = Drive an invented car along a speed trace and write what its bus would carry
cli-simulate-after = The car, its filter and its sensors are invented; what you do not choose is drawn from the seed. Files: case.toml (assess it at once), the recordings, truth.json (what is true), truth.csv (true and shown values, ten a second). Nothing here was measured: use it to learn and to test, never to judge a real car.
cli-simulate-seed = Seed: the same seed and options write the same bytes
cli-simulate-heavy = A truck or bus instead of a car or van
cli-simulate-soot = Soot load, g per litre of filter volume
cli-simulate-ash = Ash load, g per litre of filter volume
cli-simulate-fault = A fault; give it again for a second one on another part. A wrong word lists all
cli-simulate-zero = What the pressure sensor shows at no flow, kPa
cli-simulate-pressure-gain = Shown over true pressure difference
cli-simulate-noise = Noise of the pressure reading (standard deviation), kPa
cli-simulate-lag = Lag of hose and pressure sensor, s
cli-simulate-flow-gain = Shown over true air flow
cli-simulate-temperature = Shown minus true exhaust temperature, K
cli-simulate-road = The invented road
cli-simulate-minutes = Length of the invented drive (the workshop's run has its own)
cli-simulate-trace = Speed trace to drive instead: a table with time and speed and their units (time [s], speed [km/h]), or any recording that holds the road speed
cli-simulate-key-on = Ignition on with the engine off before the start
cli-simulate-cold = Start with a cold engine
cli-simulate-write = Form of a recording; give it again for more, the case names the first [default: obd and csv, for --heavy j1939 and csv]
error-simulate = The drive cannot be simulated: { $why }
error-simulate-fault = { $fault } is no fault that can be simulated; these are: { $known }
error-simulate-trace = { $path }: no road speed in it; head the columns time [s] and speed [km/h] (also m/s or mph){ $problems }
simulate-car = { $heavy ->
    [yes] An invented heavy vehicle
   *[no] An invented car or van
    } with a filter of { $volume } L; { $minutes } minutes recorded.
simulate-state = True soot { $soot } g/L, ash { $ash } g/L, zero { $zero } kPa, standard pressure drop { $drop } kPa (as new { $new } kPa), fault: { $fault }.
simulate-power = { $share } % of the driving asks for more power than this engine gives: there the speed is the trace's, the engine at full load.
simulate-written = Written to { $path }: { $files }
simulate-next = Next: sootwright assess { $path }
simulate-invented = Invented, for training and tests; nothing here was measured.
## May a regeneration be started

regeneration-service-safe = A service regeneration can be called safe: soot is above { $load } g/L in fewer than 1 of 100 cases like this, and every condition is held.
regeneration-service-not-shown-safe = A service regeneration is not shown safe. Soot is above { $load } g/L, the safe load, with { $percent } of 100.
regeneration-service-unsafe-soot = A service regeneration is unsafe: soot is above { $load } g/L, the safe load, with { $percent } of 100. Such a load can burn hot enough to crack the filter.
regeneration-service-unsafe-condition = A service regeneration is unsafe as the car stands: a condition is broken. Soot is above { $load } g/L, the safe load, with { $percent } of 100.
regeneration-held-safe = Holding 2500 to 3000 rpm as a test can be called safe.
regeneration-held-not-shown-safe = Holding 2500 to 3000 rpm as a test is not shown safe.
regeneration-held-unsafe = Holding 2500 to 3000 rpm as a test is unsafe as the car stands.
regeneration-find-out = To find out
regeneration-mend-first = First: { $what }
regeneration-look = { $what } { $look }
regeneration-limit = What { $material } is thought to stand: { $low } to { $high } g/L (makers' practice, from memory, coarse). Safe load: 0.8 of the low end.
regeneration-limit-unknown = The material was not told, so the weakest counts: cordierite, { $low } to { $high } g/L (makers' practice, from memory, coarse). Safe load: 0.8 of the low end.
regeneration-few-samples = The estimate stands on too few effective samples to judge one in a hundred.
regeneration-model-caution = The simulated temperatures may show danger; they never show safety. Soot of engines differs tenfold in how fast it burns, and a real filter is uneven over its face: its hottest place lies above what is simulated here.
regeneration-afterwards = During it: log temperature, pressure and time. Stop on an outlet temperature above the maker's limit, smoke from under the car, oil pressure or coolant warning. Do not drop to idle or switch off while it is hot. Afterwards: cool for 20 to 30 minutes, read the oil level, read the pressure again at the same points.
regeneration-refused = An off-car route stays open: the maker's procedure for an overloaded filter, or cleaning off the car.
regeneration-no-simulation = No burn was simulated: { $why }
regeneration-course = { $soot } g/L { $how }: hottest { $peak } degC at { $place } of the length{ $minutes }.
course-steady = held to the end
course-dropped = dropped to idle after { $minutes } min
course-lifted = throttle lifted for 2 min after { $minutes } min
course-minutes = , 90 % burnt in { $minutes } min
course-percent = , { $percent } % burnt
material-cordierite = cordierite
material-silicon-carbide = silicon carbide
material-aluminium-titanate = aluminium titanate

state-held = held
state-open = open
state-broken = broken
condition-cause-mended = Cause of the soot mended
condition-soot-by-controller = Soot below the limit by the controller
condition-oil-level = Oil not above the upper mark
condition-oil-state = Oil of known state, not thinned by fuel
condition-fuel-leak = No fuel leak
condition-wrong-fluid = No wrong fluid in the fuel
condition-oil-in-intake = No oil in the intake
condition-coolant-warm = Coolant warm
condition-fuel-level = More than a quarter tank of fuel
condition-temperature-sensors = Exhaust temperature sensors plausible
condition-pressure-reading = Pressure hoses sound
condition-filter-whole = Filter whole
condition-exhaust-whole = Catalyst, can and heat shields whole
condition-ash = Not full of ash
condition-place = Outdoors or hot-gas extraction, nothing near that burns
condition-attended = A person stays, extinguisher at hand
because-nobody-looked = nobody looked
because-memory-not-read = no figure and no fault memory was read
because-seen = seen: { $observation }
because-not-seen = looked at; not so: { $observation }
because-probability = probability of the contrary { $percent } of 100
because-oil-level = oil at { $mm } mm against the upper mark
because-fuel-in-oil = fuel in oil by the regenerations attempted about { $p50 } %, likelier than not above { $limit } %
because-coolant = coolant { $degc } degC
because-fuel-level = fuel level { $percent } %
because-controller-soot = the controller says { $load } g/L; the substrate is thought to stand { $limit }
because-controller-percent = the controller says { $percent } % of its limit
because-temperatures-agree = before and after the filter agree in the recording
because-runaway = a recording shows gas far hotter behind the filter than before it
look-observe = { $observation-question } ({ $observation-how })
look-controller-soot = Read the fault memory and the controller's own soot figure, and the maker's limit for this car.
look-coolant = Warm the engine on the road; read the coolant temperature (75 degC or more).
look-fuel-level = Read the fuel level; put fuel in below a quarter.
look-ash = A regeneration does not burn ash: read the controller's ash figure and the distance on this filter; clean it off the car.

## What to read or record next

reading-key-on = pressure with the key on and the engine off
reading-hot-idle = pressure at hot idle
reading-held = recording at idle and held at 2500 rpm for 3 min
reading-staircase = recording of key on, idle and two held speeds
reading-road-pull = recording of a drive with one full-load pull
reading-after-regeneration = the same points before and after a complete regeneration
reading-after-own-regeneration = the same points now and once the car has regenerated by itself on the road
reading-weigh-filter = the filter weighed dry and warm, against its mass as new
reading-weigh-reservoir = the additive reservoir weighed
reading-second-gauge = an independent gauge on the same taps, idle and 2500 rpm
figure-soot = soot
figure-ash = ash
figure-zero = sensor at no flow
figure-sensor = state of pressure sensor and hoses
figure-additive = additive left
would-narrow = { $what }: about { $percent } % narrower, { $minutes } min
next-reading = { $what } ({ $minutes } min): { $narrows }
next-narrows = { $figure } { $percent } % narrower
next-first = Look first: { $list }
head-readings = Next reading, the most telling per minute first

## Burns, oil, ash

head-burns = Regenerations in the recordings
burn-line = { $file }, { $from } to { $to } min: { $end }{ $reported }. { $signs }
burn-complete = complete
burn-partial = partial
burn-aborted = aborted
burn-runaway = ran away
burn-running = still running
burn-by-heat = , by heat alone, not reported by the controller
burn-sign-runaway = The gas came out up to { $rise } K hotter than it went in.
burn-sign-running = The recording stops before it ends.
burn-sign-cold = The filter never was hot enough for long enough.
burn-sign-engine-stopped = The engine was switched off in it.
burn-sign-trigger-high = The controller still wants a regeneration afterwards.
burn-sign-short = It was shorter than a complete burn takes.
burn-sign-trigger = Afterwards the controller stands at { $percent } % of the way to the next.
burn-sign-exotherm = The gas came out up to { $rise } K hotter than it went in: soot burnt.
burn-hot = Hot for { $minutes } min.
burn-peak = Hottest { $degc } degC.
burn-share = By kinetics { $p05 } to { $p95 } % of the soot burnt.
head-oil = Fuel in the engine oil
oil-fuel = { $p50 } % ({ $p05 } to { $p95 }) by about { $attempts } regenerations attempted in { $km } km since the oil change; above { $limit } %, where laboratories say act, with { $percent } of 100. Smell, drip and level of the oil decide, not this figure.
oil-fuel-open = { $p50 } % ({ $p05 } to { $p95 }) by the count of regenerations, the oil change unknown; above { $limit } %, where laboratories say act, with { $percent } of 100. Smell, drip and level of the oil decide, not this figure.
head-ash = Ash to come
ash-due = Growth { $growth } g per 1000 km ({ $growth-from } to { $growth-to }). Cleaning or replacement due in { $due } km ({ $due-from } to { $due-to }, eight times in ten), at { $low } to { $high } g/L.
ash-due-not-before = Growth { $growth } g per 1000 km ({ $growth-from } to { $growth-to }). No cleaning or replacement before { $due-from } km (nine times in ten), at { $low } to { $high } g/L; how much later cannot be told.
ash-due-nothing = Growth { $growth } g per 1000 km ({ $growth-from } to { $growth-to }). When cleaning is due, at { $low } to { $high } g/L, cannot be told: the window is too wide to plan by. Weighing the filter at a cleaning narrows it most.
ash-due-now = Growth { $growth } g per 1000 km ({ $growth-from } to { $growth-to }). Cleaning or replacement is due: likelier than not the ash is past the { $low } to { $high } g/L at which cars are cleaned.
ash-due-odometer = On the odometer: { $due } km ({ $due-from } to { $due-to }).
ash-plug = Of the channel length the plug takes { $p50 } % ({ $p05 } to { $p95 }).
ash-odd = More than distance explains, with { $percent } of 100: deposits in the middle of the channels, a wrong oil, or what does not burn. A borescope and the reading after a complete regeneration decide.
ash-cleaned = Cleaning at { $km } km took out { $grams } g (± { $u }).
ash-cleaned-expected = Book-keeping expected { $from } to { $to } g there; so it speaks for { $growth } g per 1000 km.
caution-runaway = A burn ran away in a recording: no further regeneration before a borescope shows the outlet face whole.
caution-fuel-in-oil = The regenerations attempted may have put much fuel into the oil: read its level, smell it, and change it before any regeneration when in doubt.
cli-regeneration = May a service regeneration be started: verdict, conditions, what to find out
cli-regeneration-report = Write the sheet with its drawings into this file (HTML, self-contained)
head-conditions = Conditions
head-simulated = A simulated burn
col-condition = condition
col-state = state
col-because = because
fig-soot-limit = Soot load against what the filter stands
fig-soot-limit-label = Probability of the soot load in g/L against the safe load of { $safe } g/L and the range of { $low } to { $high } g/L that the substrate is thought to stand; above the safe load with { $percent } of 100
fig-soot-limit-caption = Hatched steep: the estimate. Hatched in red: its part above the safe load. Flat hatching between lines: what the substrate is thought to stand, from memory, coarse. Tall broken line: safe load, 0.8 of the low end.
fig-soot-axis = soot, g per litre of filter
fig-soot-safe = safe load
fig-soot-stands = stands
fig-burn = Temperature in a simulated burn
fig-burn-label = Hottest place of the filter over time in a simulated burn at { $feed } degC: median soot { $median } g/L and upper soot { $upper } g/L, held to the end, dropped to idle and with the throttle lifted at the worst moment; damage is thought to begin between { $from } and { $to } degC
fig-burn-caption = Gas of { $feed } degC at { $flow } g/s, soot { $doped }. Thin: median soot. Heavy: upper soot (19 of 20 lie below). Whole: held to the end. Broken: dropped to idle, or the throttle lifted, at the worst moment. Flat hatching: where substrates take damage.
fig-burn-doped = with additive
fig-burn-undoped = without additive
fig-burn-axis = hottest place, degC
fig-burn-upper = upper soot
fig-burn-median = median soot
page-regeneration-title = May it be regenerated: { $title } · sootwright

# Learning from closed jobs.
note-closed-jobs = Closed jobs (sootwright.closed-jobs/1). Stays in the workshop: it holds your job numbers.
note-counts = Counts (sootwright.counts/1): running totals by workshop. No car, no person, no day of a job.
note-learned = Learnt from counts; made anew by every knowledge learn. Corrections belong into a file of your own, or into the jobs.
note-learned-background = counted; before that nobody argued for a way from the fault to this
head-moved = What moved most
head-reliability-leading = What stood first, by how likely it was said to be
head-reliability-faults = Single faults, by how likely they were said to be
out-closed = Written into { $path }; it holds { $count } closed jobs.
out-closed-again = The job stood there already and was replaced in { $path }; it holds { $count } closed jobs.
out-jobs-counted = { $jobs } jobs counted, closed from { $from } to { $until }.
out-not-counted-proof = not counted, since nothing shows what was wrong ({ $count }): { $jobs }
out-not-counted-back = not counted, since the car came back; the repair counts as one that did not hold ({ $count }): { $jobs }
out-not-counted-again = stood there more than once, the one closed last was taken ({ $count }): { $jobs }
out-counts-written = Written: { $path }. Read it before you give it away; it should hold nothing but counts.
out-joined = { $workshops } workshops with { $jobs } jobs in { $path }.
out-learned-from = Counts of { $workshops ->
    [one] one workshop
   *[other] { $workshops } workshops
}. Every figure lies between what the row said before and what was counted.
out-moved-share = How often the cause is: { $fault }. { $before } in 100 before, { $after } now ({ $yes } of { $of } found).
out-moved-likelihood = Under { $fault }: { $observation }. { $before } in 100 before, { $after } now ({ $yes } of { $of }).
out-moved-works = The repair holds: { $fault }. { $before } in 100 before, { $after } now ({ $yes } of { $of }).
out-moved-nothing = Nothing was counted, so nothing moved.
out-learned-file = Written: { $path }
out-learned-use = Use it from now on with --knowledge { $dir }.
out-own-scores = { $jobs } of { $of } jobs can be scored. What stood first was there in { $first } of 100, one of the first three in { $three }.
out-own-brier = Brier score { $brier } (0 is perfect, 2 is sure of something else); mean logarithm of the probability of what was there { $log } (0 is perfect).
out-bin = said { $from } to { $to } of 100 (mean { $said }): { $count } times, of these { $true } came true; between { $low } and { $high } of 100 nine times in ten
out-own-scores-note = Only jobs with proof are scored, so diagnoses that were never proven are missing. Probabilities should be those said before the work.
fig-reliability-label = What was said and what came true, { $jobs } jobs
fig-axis-said = probability said
fig-axis-came-true = share that came true
fig-key-leading = what stood first, one a job
fig-key-faults = single faults said with 1 % or more
fig-key-bars = bars: 90 % interval; figures: how many
error-learn-schema = schema is { $found }; closed jobs begin with schema = "{ $jobs }", counts with schema = "{ $counts }"
error-counts-more = { $workshop } counts { $what } in { $count } cars of { $jobs }; ask that workshop for its file again
error-counts-time = { $workshop } does not say when it counted (made_at); ask that workshop for its file again
error-job = job "{ $id }": { $what }
error-job-id = it has no number (id)
error-job-day = closed is { $day }; write a day as YYYY-MM-DD
error-job-said = the probabilities said add up to { $sum }; each lies between 0 and 1 and together they are 1 at most
error-made-up-name = { $name } does not serve as a made-up name: 3 to 32 letters a to z, figures or hyphens
error-few-jobs = Only { $jobs } jobs count; counts leave the workshop from { $least } jobs on, so that no count is one car.
error-join-jobs = A file of closed jobs is among them; only counts are put together. Make counts of it first (knowledge count).
error-learn-name = Jobs and counts are given together: say with --as which of the counted workshops you are, or a new name if you are none of them, so that no job is counted twice.
error-nothing-to-score = None of { $jobs } jobs can be scored: a job needs proof and what was said before the work.

# Timetable over several cars.
head-timetable = Timetable
out-timetable-car = Car { $number }, { $name }: accepted as found: { $what }. Done at { $end }.
out-timetable-car-likeliest = Car { $number }, { $name }: likeliest, not accepted as found yet: { $what }. Done at { $end }.
out-timetable-end = All cars are done after { $end } (hours:minutes). No timetable can end before { $bound }, so this one ends at most { $over } % later than the best; one car after the other takes { $one }.
out-timetable-note = Hours and minutes from the begin. Waits run on the clock; nights and days off are not cut out. A car keeps its lift until its last step on it, or until a wait of four hours or more. Minutes are common practice: the plan of each car names cautions, interlocks and proof.
col-from = from
col-hands-to = hands to
col-waits-to = waits to
col-car-number = car
col-person = person
col-lift = lift
col-step = step
error-car-fault = { $given } names no car and fault; write the number of the case in the order given and a fault, as in 2=ash_full

# Recording a vehicle
record-passenger = A passenger operates this program, never the driver. Route the cable clear of pedals and steering.
record-reads-only = Only questions that change nothing are asked (services 01 02 03 06 07 09 0A 19 22). All modules at once are asked only while the vehicle stands. Stop with Ctrl-C; if a warning lamp or a message appears, stop and unplug.
record-listens = Nothing is sent; the bus is only listened to.
record-writes = Writes candump text to { $path }
record-live = { $seconds } s, { $frames } frames: { $values }
record-live-none = { $seconds } s, { $frames } frames
record-done = { $path }: { $frames } frames received, { $asked } questions asked, { $answered } answered
record-trouble = Not answered in time { $silent }, refused { $refused }, busy or pending { $busy }, bus errors { $errors }, refused by the adapter { $adapter }
record-nothing = Nothing answered. Check that the ignition is on, the speed of the bus (--rate) and the plug.
error-record-lost = { $line }: { $why }; check the plug, the name and the right to open it (on Linux often the group dialout)
error-record-serial = { $line }: serial lines are opened on Unix systems only
error-record-interface = { $interface }: this program was built without the kernel's CAN interfaces; build it on Linux with the feature `socketcan`, or take --serial
error-simulate-vehicle = A simulated vehicle needs a pseudo-terminal, which this system does not have
simulate-vehicle = A simulated vehicle answers at { $line }. In another window: sootwright record --serial { $line }
cli-record = Record a vehicle over its diagnostic plug, read-only
cli-record-after = The recording is candump text: look into it with `sootwright decode`, or name it in a case. Practise with `sootwright simulate vehicle`.
cli-record-serial = Serial line of an adapter that speaks the ASCII protocol of the Linux slcan driver
cli-record-interface = CAN interface of the kernel, such as can0, which must be up (Linux, feature socketcan)
cli-record-baud = Speed of the serial line
cli-record-rate = Speed of the CAN bus
cli-record-listen = Send nothing, only listen: for J1939 and for buses with a tester of their own
cli-record-long-ids = Ask with 29-bit identifiers from the start
cli-record-seconds = Stop after so many seconds
cli-record-out = Where to write; an existing file is never overwritten
cli-simulate-vehicle = Serve an invented car on a pseudo-terminal, to practise recording
cli-simulate-vehicle-after = It answers the services a passenger's recorder asks and refuses all that would change a vehicle. The drive begins again at its end.

## Bench
cli-serve = Open the bench: the workshop's pages, on this machine alone
cli-data = Folder of the workshop's records; begun when it is empty
cli-address = Address of this machine to listen on; any other is refused
cli-demo-serve = Fill an invented workshop and open its bench
serve-ready = The bench is open at { $address } with the records in { $path }.
serve-stop = Stop it with Ctrl-C.
