//! What the structure cannot say: numbers that contradict each other, rows that cannot be.

use crate::case::{Answer, Case, Channels, Point, Quantity, ReservoirKind};
use crate::finding::{Finding, Places};
use crate::life;
use crate::load::Kept;
use std::collections::BTreeMap;

/// What a check found.
pub(crate) struct Found {
    pub errors: Vec<Finding>,
    pub warnings: Vec<Finding>,
}

/// Checks a structurally sound case.
pub(crate) fn check(case: &Case, places: &Places, kept: &Kept) -> Found {
    let mut c = Checker { case, places, kept, errors: Vec::new(), warnings: Vec::new() };
    c.filter();
    c.reservoir();
    c.surroundings();
    c.odometers();
    c.readings();
    c.codes_and_observations();
    c.recordings();
    c.additive_rows();
    c.fuel_rows();
    c.filter_rows();
    Found { errors: c.errors, warnings: c.warnings }
}

/// One inch in mm: cell density is counted per square inch.
const INCH_MM: f64 = 25.4;
/// Distances that differ by less are one odometer reading (a display shows whole kilometres).
const ODOMETER_STEP_KM: f64 = 1.0;

/// How far an empty reservoir may weigh below its tare, g (another bracket, a drop, the scale; common
/// practice).
const EMPTY_SLACK_G: f64 = 30.0;

/// The chemical symbols of the metals (and of the metalloids that can stand in a fluid).
const METALS: &[&str] = &[
    "Li", "Be", "B", "Na", "Mg", "Al", "Si", "K", "Ca", "Sc", "Ti", "V", "Cr", "Mn", "Fe", "Co", "Ni", "Cu",
    "Zn", "Ga", "Ge", "Rb", "Sr", "Y", "Zr", "Nb", "Mo", "Ru", "Rh", "Pd", "Ag", "Cd", "In", "Sn", "Sb",
    "Te", "Cs", "Ba", "La", "Ce", "Pr", "Nd", "Sm", "Eu", "Gd", "Tb", "Dy", "Ho", "Er", "Tm", "Yb", "Lu",
    "Hf", "Ta", "W", "Re", "Os", "Ir", "Pt", "Au", "Hg", "Tl", "Pb", "Bi",
];
/// Metals that fuel-borne catalysts have been made of (open literature: cerium, iron, platinum, copper,
/// manganese, strontium, and traces of alkali and rare-earth metals).
const CATALYST_METALS: &[&str] =
    &["Ce", "Fe", "Pt", "Cu", "Mn", "Sr", "La", "Nd", "Na", "K", "Li", "Ca", "Ba", "Pd", "Zr", "Y"];

struct Checker<'a> {
    case: &'a Case,
    places: &'a Places,
    kept: &'a Kept,
    errors: Vec<Finding>,
    warnings: Vec<Finding>,
}

impl Checker<'_> {
    fn error(&mut self, path: &str, what: impl Into<String>, advice: impl Into<String>) {
        self.errors.push(self.places.finding(path, what, advice));
    }

    fn warn(&mut self, path: &str, what: impl Into<String>, advice: impl Into<String>) {
        self.warnings.push(self.places.finding(path, what, advice));
    }

    /// The path of a key of the `i`-th kept row of a list.
    fn row(&self, list: &str, i: usize, key: &str) -> String {
        let original = self.kept.get(list).and_then(|k| k.get(i)).copied().unwrap_or(i);
        if key.is_empty() { format!("{list}.{original}") } else { format!("{list}.{original}.{key}") }
    }

    fn line(&self, path: &str) -> usize {
        self.places.of(path).0
    }

    fn filter(&mut self) {
        let f = &self.case.filter;
        if let (Some(cpsi), Some(wall)) = (f.cell_density_cpsi, f.wall_thickness_mm) {
            let pitch = INCH_MM / cpsi.sqrt();
            if wall >= pitch {
                self.error(
                    "filter.wall_thickness_mm",
                    format!("a wall of {wall} mm does not fit {cpsi} cells per square inch, whose pitch is {pitch:.2} mm"),
                    "1 mil = 0.0254 mm: 12 mil is 0.305 mm",
                );
            } else if let Some(ratio) = f.channel_width_ratio
                && 2.0 * (pitch - wall) / (1.0 + ratio) < 0.1
            {
                self.error(
                    "filter.channel_width_ratio",
                    format!("a ratio of {ratio} leaves the outlet channels under 0.1 mm wide"),
                    "the ratio is inlet width over outlet width, usually 1 to 1.5",
                );
            }
        }
        match (f.channels, f.channel_width_ratio) {
            (Some(Channels::Symmetric), Some(r)) if (r - 1.0).abs() > 0.01 => self.error(
                "filter.channel_width_ratio",
                format!("symmetric channels have ratio 1, not {r}"),
                "write channels = \"inlet_wide\", or leave the ratio out",
            ),
            (Some(Channels::InletWide), Some(r)) if r <= 1.0 => self.error(
                "filter.channel_width_ratio",
                format!("channels that are wider at the inlet have a ratio above 1, not {r}"),
                "the ratio is inlet width over outlet width",
            ),
            _ => {}
        }
        let oval = f.oval_long_axis_mm.zip(f.oval_short_axis_mm);
        if let Some((long, short)) = oval
            && long < short
        {
            self.error(
                "filter.oval_long_axis_mm",
                format!("the long axis ({long} mm) is shorter than the short one ({short} mm)"),
                "swap the two",
            );
        }
        if f.oval_long_axis_mm.is_some() != f.oval_short_axis_mm.is_some() {
            self.warn("filter", "only one axis of the oval is given", "give both, or the volume");
        }
        if f.diameter_mm.is_some() && (f.oval_long_axis_mm.is_some() || f.oval_short_axis_mm.is_some()) {
            self.error(
                "filter.diameter_mm",
                "a filter is round or oval, not both",
                "keep diameter_mm or the two oval axes",
            );
        } else if let (Some(section), Some(length), Some(volume)) =
            (f.diameter_mm.map(|d| d * d).or(oval.map(|(a, b)| a * b)), f.length_mm, f.volume_l)
        {
            let computed = std::f64::consts::FRAC_PI_4 * section * length * 1e-6;
            if (computed / volume - 1.0).abs() > 0.05 {
                self.error(
                    "filter.volume_l",
                    format!("section and length give {computed:.2} L, volume_l says {volume} L"),
                    "measure again, or leave out what is less sure",
                );
            }
        }
        let fitted = f.fitted_odometer_km;
        let cleaned = f.cleaned_odometer_km;
        if let (Some(fitted), Some(cleaned)) = (fitted, cleaned)
            && cleaned < fitted
        {
            self.error(
                "filter.cleaned_odometer_km",
                format!("cleaned at {cleaned} km, before this filter was fitted at {fitted} km"),
                "give the cleaning of the filter that is fitted now, or leave it out",
            );
        }
        for (key, value) in [("fitted_odometer_km", fitted), ("cleaned_odometer_km", cleaned)] {
            self.not_beyond_now(&format!("filter.{key}"), value);
        }
    }

    /// An odometer of the past cannot be beyond the car's.
    fn not_beyond_now(&mut self, path: &str, odometer: Option<f64>) {
        if let (Some(odometer), Some(now)) = (odometer, self.case.car.odometer_km)
            && odometer > now + ODOMETER_STEP_KM
        {
            let line = self.line("car.odometer_km");
            self.error(
                path,
                format!("{odometer} km lies beyond the car's odometer, {now} km (line {line})"),
                "correct one of the two; car.odometer_km is the reading now, after all rows",
            );
        }
    }

    fn reservoir(&mut self) {
        let r = &self.case.reservoir;
        let mut given = 0.0;
        let mut missing = 0;
        for (i, metal) in r.metals.iter().enumerate() {
            let path = self.row("reservoir.metals", i, "symbol");
            let symbol = metal.symbol.as_str();
            if !METALS.contains(&symbol) {
                let near = METALS.iter().find(|m| m.eq_ignore_ascii_case(symbol));
                let advice = near.map_or_else(
                    || "write the chemical symbol: Ce, Fe, Pt, Cu, Mn, Sr".to_owned(),
                    |m| format!("did you mean \"{m}\"?"),
                );
                self.error(&path, format!("{symbol:?} is not the symbol of a metal"), advice);
            } else if !CATALYST_METALS.contains(&symbol) {
                self.warn(&path, format!("{symbol} is unusual in a fuel-borne catalyst"), "check the label");
            }
            if r.metals.iter().take(i).any(|m| m.symbol == metal.symbol) {
                self.error(&path, format!("{symbol} is listed twice"), "give each metal once");
            }
            match metal.mass_share {
                Some(share) => given += share,
                None => missing += 1,
            }
        }
        let all_rows_read =
            self.kept.get("reservoir.metals").is_none_or(|k| k.iter().copied().eq(0..k.len()));
        if !r.metals.is_empty() && all_rows_read {
            if given > 1.02 || (missing == 0 && given < 0.98) {
                self.error(
                    "reservoir.metals",
                    format!("the mass shares of the metals add up to {given:.3}, not to 1"),
                    "shares are parts of all metal, 0 to 1",
                );
            } else if missing > 1 {
                self.warn(
                    "reservoir.metals",
                    "the shares of a blend are not given",
                    "the blend stays uncertain",
                );
            }
        }
        if let (Some(reserve), Some(capacity)) = (r.reserve_l, r.capacity_l)
            && reserve > capacity
        {
            self.error(
                "reservoir.reserve_l",
                format!("a reserve of {reserve} L does not fit a capacity of {capacity} L"),
                "both are in litres",
            );
        }
        if let (Some(density), Some(metal)) = (r.density_kg_per_m3, r.metal_g_per_l)
            && metal >= density
        {
            self.error(
                "reservoir.metal_g_per_l",
                format!("{metal} g of metal in a litre that weighs {density} g"),
                "metal_g_per_l counts the metal alone",
            );
        }
        if let (Some(density), Some(metal), Some(percent)) =
            (r.density_kg_per_m3, r.metal_g_per_l, r.metal_mass_percent)
        {
            // g/L and kg/m3 are the same number.
            let from_percent = percent / 100.0 * density;
            if (from_percent / metal - 1.0).abs() > 0.05 {
                self.error(
                    "reservoir.metal_g_per_l",
                    format!(
                        "{percent} % of {density} kg/m3 are {from_percent:.2} g/L, metal_g_per_l says {metal}"
                    ),
                    "keep the one that stands on the label",
                );
            }
        }
        if let (Some(by_volume), Some(metal), Some(by_mass)) =
            (r.dose_ml_per_l, r.metal_g_per_l, r.dose_mg_per_kg)
        {
            let fuel = self.case.fuel.density_kg_per_m3.unwrap_or(835.0) / 1000.0;
            let computed = by_volume * metal / fuel;
            if (computed / by_mass - 1.0).abs() > 0.15 {
                self.warn(
                    "reservoir.dose_mg_per_kg",
                    format!("{by_volume} mL/L of {metal} g/L are about {computed:.1} mg/kg, dose_mg_per_kg says {by_mass}"),
                    "one of the three is wrong",
                );
            }
        }
        if r.kind == Some(ReservoirKind::None) {
            let rows = [
                ("refill", self.case.refill.len()),
                ("reservoir_weighed", self.case.reservoir_weighed.len()),
                ("level_read", self.case.level_read.len()),
            ];
            for (list, n) in rows {
                if n > 0 {
                    let path = self.row(list, 0, "");
                    self.error(
                        &path,
                        format!("[[{list}]] for a car whose reservoir.kind is \"none\""),
                        "write kind = \"pouch\" or \"tank\", or leave the kind out",
                    );
                }
            }
        }
    }

    fn surroundings(&mut self) {
        let a = &self.case.ambient;
        if let (Some(p), Some(h)) = (a.pressure_kpa, a.altitude_m) {
            // ISO 2533 standard atmosphere; weather moves the pressure by some 4 %.
            let standard = 101.325 * (1.0 - 2.255_77e-5 * h).max(0.0).powf(5.255_88);
            if (p / standard - 1.0).abs() > 0.08 {
                self.warn(
                    "ambient.pressure_kpa",
                    format!("{p} kPa is far from the {standard:.1} kPa usual at {h} m"),
                    "give the pressure at the workshop, not reduced to sea level",
                );
            }
        }
    }

    fn odometers(&mut self) {
        let case = self.case;
        let mut dated = Vec::new();
        for (list, i, stamp) in life::stamps(case) {
            let path = self.row(list, i, "odometer_km");
            self.not_beyond_now(&path, stamp.odometer_km);
            if let (Some(km), Some(time)) = (stamp.odometer_km, stamp.time) {
                dated.push((time, km, path));
            }
            if let Some(time) = stamp.time {
                let year = time.instant.as_second() as f64 / (365.25 * 86_400.0) + 1970.0;
                if !(1985.0..2100.0).contains(&year) {
                    let path = self.row(list, i, "time");
                    self.warn(&path, format!("the year {year:.0} is unusual"), "check the date");
                }
            }
        }
        dated.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let mut furthest: Option<&(crate::Moment, f64, String)> = None;
        let mut backwards = Vec::new();
        for row in &dated {
            if let Some(before) = furthest
                && row.1 + ODOMETER_STEP_KM < before.1
                && before.0.surely_before(row.0)
            {
                backwards.push((row.2.clone(), row.1, before.1, before.2.clone()));
            }
            if furthest.is_none_or(|f| row.1 > f.1) {
                furthest = Some(row);
            }
        }
        for (path, km, before, where_before) in backwards {
            let line = self.line(&where_before);
            self.error(
                &path,
                format!("the odometer falls: {km} km here, {before} km at an earlier date (line {line})"),
                "correct the odometer or the date of one of the two rows",
            );
        }
    }

    fn readings(&mut self) {
        let case = self.case;
        for (i, r) in case.reading.iter().enumerate() {
            let measured = match r.measured() {
                Ok(m) => m,
                Err(e) => {
                    let path = self.row("reading", i, "unit");
                    let advice = crate::walk::nearest(&r.unit, e.accepted.iter().copied())
                        .map_or_else(|| "convert it".to_owned(), |n| format!("did you mean {n:?}?"));
                    self.error(&path, e.to_string(), advice);
                    continue;
                }
            };
            let (low, high) = r.quantity.possible(measured.unit);
            if !(low..=high).contains(&measured.value) {
                let path = self.row("reading", i, "value");
                self.error(
                    &path,
                    format!("{} of {} {} is impossible", r.quantity.id(), r.value, r.unit),
                    format!("possible: {low} to {high} {}", measured.unit),
                );
            }
            let pressure =
                matches!(r.quantity, Quantity::DifferentialPressure | Quantity::DifferentialPressureGauge);
            if pressure && r.point.is_none() {
                let path = self.row("reading", i, "");
                self.error(
                    &path,
                    "a differential pressure says nothing without its operating point",
                    "add point = \"key_on\", \"hot_idle\", \"held\" or \"road\"",
                );
            }
            if r.point == Some(Point::Held) && r.engine_speed_rpm.is_none() {
                let path = self.row("reading", i, "point");
                self.error(&path, "a held point needs its speed", "add engine_speed_rpm");
            }
            if r.point == Some(Point::KeyOn) && r.engine_speed_rpm.is_some_and(|n| n > 0.0) {
                let path = self.row("reading", i, "engine_speed_rpm");
                self.error(
                    &path,
                    "key on means that the engine stands",
                    "write point = \"hot_idle\" or \"held\"",
                );
            }
        }
    }

    fn codes_and_observations(&mut self) {
        let case = self.case;
        for (i, memory) in case.fault_memory.iter().enumerate() {
            for code in &memory.codes {
                if !is_code(code) {
                    let path = self.row("fault_memory", i, "codes");
                    self.warn(
                        &path,
                        format!("{code:?} is neither a five-character code nor SPN/FMI"),
                        "kept as a fact, but it speaks for no fault; write P2463, P2463-62 or 3251/0",
                    );
                }
            }
        }
        let mut answers: BTreeMap<String, (usize, Answer)> = BTreeMap::new();
        for (i, o) in case.observation.iter().enumerate() {
            let path = self.row("observation", i, "id");
            if o.id.trim().is_empty() {
                self.error(&path, "an observation without a name", "write the id of an observation");
            }
            if o.answer == Answer::NotDone {
                continue;
            }
            let key = format!("{} {:?} {:?} {:?}", o.id, o.odometer_km, o.time, o.order);
            match answers.get(&key) {
                Some(&(first, answer)) if answer != o.answer => {
                    let line = self.line(&self.row("observation", first, "id"));
                    self.error(
                        &path,
                        format!("{:?} is answered yes and no at one time (line {line})", o.id),
                        "take one out, or give both a time or an order",
                    );
                }
                _ => {
                    answers.insert(key, (i, o.answer));
                }
            }
        }
    }

    fn recordings(&mut self) {
        let case = self.case;
        for (i, r) in case.recording.iter().enumerate() {
            let path = self.row("recording", i, "file");
            let file = std::path::Path::new(&r.file);
            if r.file.trim().is_empty() {
                self.error(&path, "a recording without a file", "write its path, relative to this case file");
            } else if file.is_absolute() || file.components().any(|c| c == std::path::Component::ParentDir) {
                self.warn(
                    &path,
                    format!("{:?} leads out of the folder of this case", r.file),
                    "the case cannot be moved to another machine with its recordings",
                );
            }
        }
    }

    fn additive_rows(&mut self) {
        let case = self.case;
        let capacity = case.reservoir.capacity_l;
        for (i, r) in case.refill.iter().enumerate() {
            if r.volume_l.is_none()
                && r.mass_g.is_none()
                && r.full.is_none()
                && r.reservoir_replaced != Some(true)
            {
                let path = self.row("refill", i, "");
                // Nobody noted how much: that it happened is still a fact, and a weak one.
                self.warn(
                    &path,
                    "a refill without volume_l, mass_g and full says only that one happened",
                    "give what was poured, or full = true or full = false, if anybody knows",
                );
            }
            if let (Some(volume), Some(mass)) = (r.volume_l, r.mass_g) {
                let density = mass / volume;
                let stated = r.density_kg_per_m3.or(case.reservoir.density_kg_per_m3);
                let path = self.row("refill", i, "mass_g");
                if !(500.0..=2000.0).contains(&density) {
                    self.error(
                        &path,
                        format!("{mass} g in {volume} L are {density:.0} kg/m3, no fluid"),
                        "volume_l is in litres, mass_g in grams",
                    );
                } else if let Some(stated) = stated
                    && (density / stated - 1.0).abs() > 0.1
                {
                    self.warn(
                        &path,
                        format!("{mass} g in {volume} L are {density:.0} kg/m3, the density says {stated}"),
                        "one of the three is wrong",
                    );
                }
            }
            if let (Some(volume), Some(capacity)) = (r.volume_l, capacity)
                && volume > capacity * 1.05
            {
                let path = self.row("refill", i, "volume_l");
                self.warn(
                    &path,
                    format!("{volume} L poured into a reservoir of {capacity} L"),
                    "check the volume and reservoir.capacity_l",
                );
            }
            if let (Some(density), Some(metal)) = (r.density_kg_per_m3, r.metal_g_per_l)
                && metal >= density
            {
                let path = self.row("refill", i, "metal_g_per_l");
                self.error(&path, format!("{metal} g of metal in a litre that weighs {density} g"), "");
            }
        }
        for (i, w) in case.reservoir_weighed.iter().enumerate() {
            let path = self.row("reservoir_weighed", i, "gross_g");
            match w.tare_g.or(case.reservoir.tare_g) {
                // An empty reservoir may weigh a little less than its tare: scale, drops, another bracket.
                Some(tare) if tare - w.gross_g > EMPTY_SLACK_G.max(w.uncertainty_g.unwrap_or(0.0)) => self
                    .error(
                        &path,
                        format!("{} g with the reservoir on the scale, but {tare} g empty", w.gross_g),
                        "gross_g is reservoir and content together, tare_g the empty reservoir",
                    ),
                Some(tare) => {
                    if let Some(capacity) = capacity {
                        let net = w.gross_g - tare;
                        let most = capacity * case.reservoir.density_kg_per_m3.unwrap_or(1100.0);
                        if net > 1.2 * most {
                            self.warn(
                                &path,
                                format!("{net:.0} g of content do not fit {capacity} L"),
                                "check gross_g, tare_g and reservoir.capacity_l",
                            );
                        }
                    }
                }
                None => self.warn(
                    &path,
                    "the empty reservoir's mass is not given",
                    "add tare_g here or in [reservoir]; without it the content stays uncertain",
                ),
            }
        }
        if let Some(capacity) = capacity {
            for (i, l) in case.level_read.iter().enumerate() {
                if l.level_l - l.uncertainty_l.unwrap_or(0.0) > capacity * 1.2 {
                    let path = self.row("level_read", i, "level_l");
                    self.error(
                        &path,
                        format!("a content of {} L in a reservoir of {capacity} L", l.level_l),
                        "correct the level or reservoir.capacity_l",
                    );
                }
            }
        }
        for (i, c) in case.counter_read.iter().enumerate() {
            if c.used_ml.is_none() && c.left_ml.is_none() && c.distance_since_fill_km.is_none() {
                let path = self.row("counter_read", i, "");
                self.error(
                    &path,
                    "a counter that was read shows something",
                    "give used_ml, left_ml or distance_since_fill_km, or take the row out",
                );
            }
            if let (Some(d), Some(km)) = (c.distance_since_fill_km, c.odometer_km.or(case.car.odometer_km))
                && d > km + ODOMETER_STEP_KM
            {
                let path = self.row("counter_read", i, "distance_since_fill_km");
                self.warn(
                    &path,
                    format!("{d} km since the fill on a car with {km} km"),
                    "kept as the controller's claim",
                );
            }
        }
    }

    fn fuel_rows(&mut self) {
        let case = self.case;
        let now = case.car.odometer_km;
        for (i, f) in case.fuel_used.iter().enumerate() {
            if let Some(end) = f.odometer_km.or(now)
                && self.stretch("fuel_used", i, f.since_odometer_km, end)
            {
                let per_100km = f.fuel_l / (end - f.since_odometer_km) * 100.0;
                if !(2.0..=80.0).contains(&per_100km) {
                    let path = self.row("fuel_used", i, "fuel_l");
                    self.warn(
                        &path,
                        format!(
                            "{} L over {} km are {per_100km:.1} L/100 km",
                            f.fuel_l,
                            end - f.since_odometer_km
                        ),
                        "check the litres and both odometers",
                    );
                }
            }
        }
        for (i, t) in case.trip_computer.iter().enumerate() {
            if let (Some(since), Some(end)) = (t.since_odometer_km, t.odometer_km.or(now)) {
                self.stretch("trip_computer", i, since, end);
            }
        }
    }

    /// Whether a stretch has a length.
    fn stretch(&mut self, list: &str, i: usize, since: f64, end: f64) -> bool {
        if since < end {
            return true;
        }
        let path = self.row(list, i, "since_odometer_km");
        self.error(
            &path,
            format!("the stretch begins at {since} km and ends at {end} km"),
            "since_odometer_km is the beginning, odometer_km (or the car's) the end",
        );
        false
    }

    fn filter_rows(&mut self) {
        let case = self.case;
        for (i, c) in case.filter_cleaned.iter().enumerate() {
            if let (Some(before), Some(after)) = (c.mass_before_g, c.mass_after_g)
                && after > before
            {
                let path = self.row("filter_cleaned", i, "mass_after_g");
                self.error(
                    &path,
                    format!("the filter weighs more after cleaning ({after} g) than before ({before} g)"),
                    "swap the two, or dry the filter and weigh again",
                );
            }
        }
        for (i, n) in case.regeneration_count.iter().enumerate() {
            if n.completed.is_none() && n.aborted.is_none() {
                let path = self.row("regeneration_count", i, "");
                self.error(
                    &path,
                    "a count without a number",
                    "give completed or aborted, or take the row out",
                );
            }
        }
    }
}

/// Whether a text is a trouble code: five characters with an optional failure type, or SPN/FMI.
fn is_code(code: &str) -> bool {
    let five = |c: &str| {
        let mut it = c.chars();
        it.next().is_some_and(|c| "PCBUpcbu".contains(c)) && c.len() == 5 && it.all(|c| c.is_ascii_hexdigit())
    };
    if let Some((spn, fmi)) = code.split_once('/') {
        // SAE J1939-73: SPN has 19 bits, FMI 5.
        return spn.trim().parse::<u32>().is_ok_and(|s| s < 1 << 19)
            && fmi.trim().parse::<u32>().is_ok_and(|f| f < 1 << 5);
    }
    match code.split_once('-') {
        Some((c, t)) => five(c) && t.len() == 2 && t.chars().all(|c| c.is_ascii_hexdigit()),
        None => five(code),
    }
}
