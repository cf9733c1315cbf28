//! The life of a car until today: distances, soot, ash and additive as they truly are, and what of it is told.

use crate::draw::Draw;
use crate::faults::Fault;
use crate::filter_truth::Body;
use crate::vehicle::Vehicle;
use facts::FaultId;
use facts::case::{
    Answer, Case, Category, Channels, CounterRead, FaultMemory, FilterCleaned, FuelSource, FuelUsed, Known,
    LevelRead, Metal, Observation, OilChange, Point, Quantity, Reading, Refill, Regeneration,
    RegenerationCount, RegenerationEnd, RegenerationPlace, ReservoirKind, ReservoirWeighed, Role,
    Surroundings, Wetness,
};
use serde::Serialize;

/// The additive side as it truly is.
#[derive(Debug, Clone, Serialize)]
pub struct Additive {
    /// Fault on the additive side, `none` when there is none.
    pub fault: &'static str,
    /// Left in the reservoir, L.
    pub left_l: f64,
    /// Used since the last full fill (dosed and lost), L.
    pub used_l: f64,
    /// What the set dose and the fuel burnt since then make, L.
    pub expected_used_l: f64,
    /// Capacity, L.
    #[serde(skip)]
    pub capacity_l: f64,
    /// Density, kg/m3.
    #[serde(skip)]
    pub density: f64,
    /// Metal, g/L.
    #[serde(skip)]
    pub metal: f64,
    /// Metal's symbol.
    #[serde(skip)]
    pub symbol: &'static str,
    /// Mass of oxide over that of metal.
    #[serde(skip)]
    pub oxide: f64,
    /// Set dose, mg/kg.
    #[serde(skip)]
    pub dose: f64,
    /// Odometer at the last full fill, km.
    #[serde(skip)]
    pub filled_km: f64,
    /// Fuel burnt since, L.
    #[serde(skip)]
    pub fuel_l: f64,
    /// Pouch or tank.
    #[serde(skip)]
    pub pouch: bool,
}

/// A car's life.
#[derive(Debug, Clone)]
pub struct Life {
    /// Odometer, km.
    pub odometer: f64,
    /// Odometer when the filter was fitted, km.
    pub fitted: f64,
    /// Odometer when it was cleaned, km.
    pub cleaned: Option<f64>,
    /// Distance in a year, km.
    pub yearly: f64,
    /// Usual trip, km.
    pub trip: f64,
    /// Consumption, L/100 km.
    pub consumption: f64,
    /// Fuel density, kg/m3.
    pub fuel_density: f64,
    /// Oil use, L/1000 km.
    pub oil_use: f64,
    /// Sulfated ash, %.
    pub sulfated_ash: f64,
    /// Soot, g/L.
    pub soot: f64,
    /// Ash, g/L.
    pub ash: f64,
    /// Left bare under the cake by a partial burn.
    pub bare_wall: bool,
    /// Distance since the last regeneration, km.
    pub since_regeneration: f64,
    /// Usual distance between regenerations, km.
    pub interval: f64,
    /// Regenerations completed and aborted.
    pub counts: (u32, u32),
    /// Additive side, when the car has one.
    pub additive: Option<Additive>,
}

impl Life {
    /// Draws a life that fits car, filter and fault.
    pub fn draw(draw: &mut Draw, vehicle: &Vehicle, body: &Body, fault: &Fault) -> Self {
        let volume = body.volume_l();
        let heavy = vehicle.heavy;
        let consumption = if heavy {
            draw.uniform(2.3, 3.4) * vehicle.displacement
        } else {
            draw.uniform(2.9, 4.4) * vehicle.displacement.powf(0.9)
        };
        let short = fault.id == Some(FaultId::SootShortTrips);
        let trip = if short {
            draw.uniform(1.5, 8.0)
        } else if heavy {
            draw.log_normal(90.0, 0.7)
        } else {
            draw.log_normal(20.0, 0.7)
        };
        let consumption = consumption * if trip < 8.0 { draw.uniform(1.1, 1.35) } else { 1.0 };
        let yearly = if heavy { draw.log_normal(75_000.0, 0.45) } else { draw.log_normal(15_000.0, 0.45) };
        let odometer = (yearly * draw.uniform(1.5, 14.0)).min(if heavy { 1.2e6 } else { 420_000.0 });
        let fuel_density = draw.uniform(822.0, 843.0);
        let oil_use = if heavy { draw.log_normal(0.25, 0.6) } else { draw.log_normal(0.11, 0.7) }.min(1.0);
        let sulfated_ash = draw.pick([0.5, 0.5, 0.7, 0.8, 0.8, 1.0, 1.3]);
        let additive = (!heavy && draw.chance(0.6)).then(|| {
            let (symbol, oxide, dose) = draw.pick([
                ("Fe", 1.4297, 4.0),
                ("Fe", 1.4297, 8.0),
                ("Fe", 1.4297, 12.0),
                ("Ce", 1.2284, 10.0),
                ("Ce", 1.2284, 8.0),
                ("Ce", 1.2284, 25.0),
            ]);
            Additive {
                fault: "none",
                left_l: 0.0,
                used_l: 0.0,
                expected_used_l: 0.0,
                capacity_l: draw.pick([1.0, 1.2, 1.8, 2.0, 2.5, 3.0]) * if dose > 20.0 { 2.0 } else { 1.0 },
                density: draw.uniform(830.0, 1010.0),
                metal: draw.uniform(16.0, 70.0),
                symbol,
                oxide,
                dose,
                filled_km: 0.0,
                fuel_l: 0.0,
                pouch: draw.chance(0.5),
            }
        });
        // Ash per 1000 km, g.
        let oil_ash = oil_use * 855.0 * sulfated_ash / 100.0 * draw.uniform(0.25, 0.9);
        let metal_ash = additive.as_ref().map_or(0.0, |a| {
            consumption * 10.0 * fuel_density / 1000.0 * a.dose * 1e-3 * a.oxide * draw.uniform(0.8, 1.0)
        });
        let rate = (oil_ash + metal_ash) / volume;
        let mut fitted = if draw.chance(0.75) { 0.0 } else { odometer * draw.uniform(0.2, 0.95) };
        let wanted =
            if fault.id == Some(FaultId::AshFull) { draw.uniform(41.0, 68.0) } else { f64::INFINITY };
        let mut cleaned = None;
        let mut ash = rate * (odometer - fitted) / 1000.0;
        let mut odometer = odometer;
        if wanted.is_finite() {
            // As far as it takes to be full, in this life or a longer one.
            let distance = (wanted / rate * 1000.0).min(if heavy { 1.3e6 } else { 450_000.0 });
            if distance > odometer {
                odometer = distance;
            }
            fitted = odometer - distance;
            if fitted < 8_000.0 {
                fitted = 0.0;
            }
            ash = wanted * draw.uniform(0.98, 1.02);
        } else if ash > 36.0 {
            // It must have been cleaned or replaced in between.
            let distance = draw.uniform(0.1, 0.9) * 36.0 / rate * 1000.0;
            ash = rate * distance / 1000.0;
            if draw.chance(0.5) {
                cleaned = Some(odometer - distance);
                ash += draw.uniform(0.0, 3.0);
            } else {
                fitted = odometer - distance;
            }
        }
        // Soot.
        let gpl_per_100km =
            if heavy { draw.log_normal(0.25, 0.6) } else { draw.log_normal(0.9, 0.6) } * fault.soot_rate;
        let trigger = draw.uniform(3.5, 9.0);
        let interval = (trigger / gpl_per_100km * 100.0).clamp(60.0, if heavy { 6000.0 } else { 1200.0 });
        let mut since = draw.uniform(0.02, 1.05) * interval;
        let mut left_over = if draw.chance(0.7) { draw.uniform(0.0, 0.4) } else { draw.uniform(0.3, 1.2) };
        let mut bare_wall = false;
        if fault.id == Some(FaultId::RegenerationIncomplete) {
            left_over = draw.uniform(1.2, 4.5);
            since = draw.log_uniform(4.0, 0.6 * interval);
            bare_wall = draw.chance(0.5) && since < 60.0;
        }
        if short {
            since = draw.uniform(0.9, 1.9) * interval;
        }
        let burnt = if draw.chance(0.6) { 1.0 } else { draw.uniform(0.4, 1.0) };
        let mut soot = left_over + gpl_per_100km * since / 100.0 * burnt * draw.log_normal(1.0, 0.2);
        soot = soot.min(draw.uniform(8.0, 10.0));
        if short {
            soot = soot.clamp(draw.uniform(5.2, 7.0), 9.0) + draw.uniform(0.0, 2.0);
        }
        if fault.crack.is_some() {
            soot *= draw.uniform(0.15, 0.6);
        }
        let all = ((odometer - fitted) / interval).max(1.0);
        let lost = match fault.id {
            Some(FaultId::SootShortTrips | FaultId::RegenerationIncomplete) => draw.uniform(0.3, 0.8),
            Some(FaultId::ThermostatStuckOpen) => draw.uniform(0.15, 0.6),
            _ => draw.uniform(0.0, 0.25),
        };
        let counts = ((all * (1.0 - lost)) as u32, (all * lost) as u32);
        let mut life = Self {
            odometer: odometer.round(),
            fitted: fitted.round(),
            cleaned: cleaned.map(f64::round),
            yearly,
            trip,
            consumption,
            fuel_density,
            oil_use,
            sulfated_ash,
            soot,
            ash,
            bare_wall,
            since_regeneration: since,
            interval,
            counts,
            additive,
        };
        life.dose(draw);
        life
    }

    /// Plays the additive side from the last full fill on.
    fn dose(&mut self, draw: &mut Draw) {
        let Some(a) = &mut self.additive else { return };
        let per_litre = self.fuel_density * 1e-3 * a.dose * 1e-3 / a.metal;
        let range_l = a.capacity_l / per_litre;
        let range_km = range_l / self.consumption * 100.0;
        let distance = (draw.uniform(0.05, 0.85) * range_km).min(0.9 * self.odometer);
        a.filled_km = (self.odometer - distance).round();
        let distance = self.odometer - a.filled_km;
        a.fuel_l = distance / 100.0 * self.consumption * draw.log_normal(1.0, 0.04);
        a.expected_used_l = a.fuel_l * per_litre;
        let (fault, factor, leak) = match draw.weighted(&[0.68, 0.09, 0.05, 0.08, 0.1]) {
            1 => ("additive_under_dosed", draw.uniform(0.2, 0.7), 0.0),
            2 => ("additive_over_dosed", draw.uniform(1.35, 2.0), 0.0),
            3 => ("additive_leak", 1.0, draw.log_uniform(0.0012, 0.02) * distance / self.yearly * 365.0),
            4 => ("counter_not_reset", 1.0, 0.0),
            _ => ("none", 1.0, 0.0),
        };
        let used = a.expected_used_l * factor * draw.log_normal(1.0, 0.03) + leak;
        a.fault = fault;
        a.used_l = used.min(a.capacity_l);
        a.left_l = a.capacity_l - a.used_l;
        // Emptied by a leak or by too much dosing, that is still the cause.
        if a.fault == "none" && a.left_l < 0.05 * a.capacity_l {
            a.fault = "additive_empty";
        }
    }

    /// Writes what is told of this life into `case`.
    pub fn tell(&self, draw: &mut Draw, vehicle: &Vehicle, body: &Body, fault: &Fault, case: &mut Case) {
        let mut told = |p: f64| draw.chance(p);
        let car = &mut case.car;
        car.category = told(0.97).then_some(vehicle.category);
        car.mass_kg = told(0.6).then(|| round(vehicle.mass, 10.0));
        car.displacement_l = told(0.97).then_some(vehicle.displacement);
        car.power_kw = told(0.7).then(|| vehicle.power.round());
        let consumption_told = told(0.75);
        let yearly_told = told(0.5);
        let trip_told = told(0.4);
        car.odometer_km = told(0.97).then_some(self.odometer);
        car.consumption_l_per_100km =
            consumption_told.then(|| round(self.consumption * draw.log_normal(1.0, 0.05), 0.1).max(2.6));
        car.distance_per_year_km =
            yearly_told.then(|| round(self.yearly * draw.log_normal(1.0, 0.15), 1000.0).max(1000.0));
        car.usual_trip_km = trip_told.then(|| round(self.trip * draw.log_normal(1.0, 0.3), 1.0).max(1.0));
        car.has_aus32 =
            draw.chance(0.4).then(|| draw.chance(if vehicle.category == Category::N3 { 0.9 } else { 0.3 }));

        let filter = &mut case.filter;
        filter.material = draw.chance(0.7).then_some(body.material);
        match draw.weighted(&[0.55, 0.3, 0.15]) {
            0 => {
                match body.oval {
                    Some((long, short)) => {
                        filter.oval_long_axis_mm = Some(round(long * 1e3, 0.1));
                        filter.oval_short_axis_mm = Some(round(short * 1e3, 0.1));
                    }
                    None => filter.diameter_mm = Some(round(body.diameter * 1e3, 0.1)),
                }
                filter.length_mm = Some(round(body.length * 1e3, 0.1));
            }
            1 => filter.volume_l = Some(round(body.volume_l(), 0.1)),
            _ => {}
        }
        if draw.chance(0.5) {
            filter.cell_density_cpsi = Some(body.cpsi);
            filter.wall_thickness_mm = Some(round(body.wall * 1e3, 0.001));
        }
        if draw.chance(0.5) {
            let wide = body.width_ratio > 1.0;
            filter.channels = Some(if wide { Channels::InletWide } else { Channels::Symmetric });
            filter.channel_width_ratio = (wide && draw.chance(0.6)).then_some(body.width_ratio);
        }
        if case.car.odometer_km.is_some() {
            filter.fitted_odometer_km = draw.chance(0.8).then_some(self.fitted);
            filter.cleaned_odometer_km = self.cleaned.filter(|_| draw.chance(0.9));
        }
        case.oil.use_l_per_1000km =
            draw.chance(0.5).then(|| round(self.oil_use * draw.log_normal(1.0, 0.3), 0.01));
        case.oil.sulfated_ash_percent = draw.chance(0.5).then_some(self.sulfated_ash);
        case.fuel.density_kg_per_m3 = draw.chance(0.3).then(|| round(self.fuel_density, 1.0));
        if draw.chance(0.3) {
            case.oil_change.push(OilChange {
                odometer_km: Some(round((self.odometer - draw.uniform(500.0, 18_000.0)).max(0.0), 1.0)),
                time: None,
                order: None,
                note: None,
                sulfated_ash_percent: Some(self.sulfated_ash),
                volume_l: None,
            });
        }
        self.tell_regenerations(draw, vehicle, body, fault, case);
        self.tell_additive(draw, case);
        tell_codes(draw, vehicle, fault, case);
        self.observe(draw, fault, case);
    }

    fn tell_regenerations(
        &self,
        draw: &mut Draw,
        vehicle: &Vehicle,
        body: &Body,
        fault: &Fault,
        case: &mut Case,
    ) {
        let incomplete = fault.id == Some(FaultId::RegenerationIncomplete);
        let mut figure = |quantity: Quantity, value: f64, unit: &str| {
            case.reading.push(Reading {
                odometer_km: None,
                time: None,
                order: None,
                note: None,
                point: None,
                engine_speed_rpm: None,
                vehicle_speed_km_per_h: None,
                role: None,
                quantity,
                value,
                unit: unit.to_owned(),
                instrument: Some("controller".to_owned()),
                uncertainty: None,
            });
        };
        // After an aborted burn some controllers start to count anew, others go on from the last good one.
        let counted = self.since_regeneration
            + if incomplete && draw.chance(0.5) { draw.uniform(0.4, 1.1) * self.interval } else { 0.0 };
        let shown = (counted * draw.log_normal(1.0, 0.02)).round();
        if draw.chance(0.78) {
            figure(Quantity::DistanceSinceRegeneration, shown, "km");
        }
        if draw.chance(0.3) {
            figure(
                Quantity::MeanDistanceBetweenRegenerations,
                (self.interval * draw.log_normal(1.0, 0.15)).round(),
                "km",
            );
        }
        let volume = body.volume_l();
        if draw.chance(0.5) {
            // The controller's own model: right on average, biased for each car, fooled by what fools pressure.
            let fooled = match fault.id {
                Some(FaultId::ZeroError) => 1.0 + 0.6 * fault.zero,
                Some(FaultId::HoseOffUpstream | FaultId::HosesSwapped | FaultId::SubstrateCracked) => 0.6,
                Some(FaultId::AshFull | FaultId::HoseOffDownstream) => 1.4,
                Some(FaultId::SootShortTrips) => 0.85,
                _ => 1.0,
            };
            let seen = (self.soot * fooled * draw.log_normal(1.0, 0.33) + draw.normal(0.0, 0.3)).max(0.0);
            if vehicle.heavy || draw.chance(0.2) {
                figure(Quantity::ControllerSoot, (seen / 6.0 * 100.0).round().min(250.0), "%");
            } else if draw.chance(0.3) {
                figure(Quantity::ControllerSoot, (seen * 10.0).round() / 10.0, "g/L");
            } else {
                figure(Quantity::ControllerSoot, (seen * volume * 10.0).round() / 10.0, "g");
            }
        }
        if draw.chance(0.25) {
            figure(Quantity::ControllerAsh, (self.ash * volume * draw.log_normal(0.9, 0.4)).round(), "g");
        }
        if draw.chance(if incomplete { 0.75 } else { 0.35 }) {
            let says = if incomplete {
                draw.pick([
                    RegenerationEnd::Aborted,
                    RegenerationEnd::Aborted,
                    RegenerationEnd::Partial,
                    RegenerationEnd::Unknown,
                ])
            } else {
                draw.pick([RegenerationEnd::Complete, RegenerationEnd::Complete, RegenerationEnd::Unknown])
            };
            case.regeneration.push(Regeneration {
                odometer_km: Some((self.odometer - self.since_regeneration).max(0.0).round()),
                time: None,
                order: None,
                note: None,
                place: Some(if draw.chance(0.8) {
                    RegenerationPlace::Driving
                } else {
                    RegenerationPlace::Service
                }),
                duration_min: draw.chance(0.5).then(|| {
                    if incomplete { draw.uniform(2.0, 8.0) } else { draw.uniform(8.0, 22.0) }.round()
                }),
                controller_says: Some(says),
                peak_temperature_degc: draw.chance(0.3).then(|| {
                    if incomplete { draw.uniform(420.0, 560.0) } else { draw.uniform(560.0, 690.0) }.round()
                }),
            });
        }
        if draw.chance(0.35) {
            case.regeneration_count.push(RegenerationCount {
                odometer_km: None,
                time: None,
                order: None,
                note: None,
                completed: Some(self.counts.0),
                aborted: draw.chance(0.85).then_some(self.counts.1),
            });
        }
        if let Some(at) = self.cleaned.filter(|_| draw.chance(0.6)) {
            let dry = volume * draw.uniform(620.0, 900.0) + 1500.0;
            let removed = draw.uniform(15.0, 45.0) * volume;
            case.filter_cleaned.push(FilterCleaned {
                odometer_km: Some(at),
                time: None,
                order: None,
                note: None,
                mass_before_g: Some((dry + removed).round()),
                mass_after_g: Some(dry.round()),
                controller_reset: Some(draw.pick([Known::Yes, Known::Unknown])),
            });
        }
    }

    fn tell_additive(&self, draw: &mut Draw, case: &mut Case) {
        let Some(a) = &self.additive else {
            if draw.chance(0.5) {
                case.reservoir.kind = Some(ReservoirKind::None);
            }
            return;
        };
        if draw.chance(0.15) {
            return;
        }
        let tare = if a.pouch { draw.uniform(60.0, 180.0) } else { draw.uniform(300.0, 900.0) }.round();
        let r = &mut case.reservoir;
        r.kind = Some(if a.pouch { ReservoirKind::Pouch } else { ReservoirKind::Tank });
        r.capacity_l = Some(a.capacity_l);
        r.tare_g = Some(tare);
        r.metals = vec![Metal { symbol: a.symbol.to_owned(), mass_share: None }];
        r.metal_g_per_l = draw.chance(0.8).then_some((a.metal * 10.0).round() / 10.0);
        r.density_kg_per_m3 = draw.chance(0.75).then_some(a.density.round());
        r.dose_mg_per_kg = draw.chance(0.85).then_some(a.dose);
        if case.car.odometer_km.is_some() && draw.chance(0.85) {
            case.refill.push(Refill {
                odometer_km: Some(a.filled_km),
                time: None,
                order: None,
                note: None,
                volume_l: draw
                    .chance(0.6)
                    .then(|| (a.capacity_l * draw.uniform(0.6, 1.0) * 100.0).round() / 100.0),
                mass_g: None,
                full: draw.chance(0.85).then_some(true),
                reservoir_replaced: None,
                entered_l: draw.chance(0.5).then_some(a.capacity_l),
                counter_reset: Some(if a.fault == "counter_not_reset" {
                    draw.pick([Known::No, Known::Unknown])
                } else {
                    draw.pick([Known::Yes, Known::Yes, Known::Unknown])
                }),
                metal_g_per_l: None,
                density_kg_per_m3: None,
                lot: None,
            });
            if draw.chance(0.4) {
                case.fuel_used.push(FuelUsed {
                    odometer_km: None,
                    time: None,
                    order: None,
                    note: None,
                    since_odometer_km: a.filled_km,
                    fuel_l: (a.fuel_l * draw.log_normal(1.0, 0.03)).round(),
                    source: Some(draw.pick([
                        FuelSource::Receipts,
                        FuelSource::FleetCard,
                        FuelSource::Memory,
                    ])),
                });
            }
        }
        if draw.chance(0.55) {
            case.reservoir_weighed.push(ReservoirWeighed {
                odometer_km: None,
                time: None,
                order: None,
                note: None,
                gross_g: (tare + a.left_l * a.density + draw.normal(0.0, 6.0)).max(0.0).round(),
                tare_g: None,
                resolution_g: Some(draw.pick([1.0, 2.0, 5.0])),
                uncertainty_g: draw.chance(0.5).then_some(15.0),
            });
        } else if draw.chance(0.5) {
            let off = 0.1 * a.capacity_l;
            case.level_read.push(LevelRead {
                odometer_km: None,
                time: None,
                order: None,
                note: None,
                level_l: ((a.left_l + draw.normal(0.0, off / 2.0)).clamp(0.0, a.capacity_l) * 100.0).round()
                    / 100.0,
                uncertainty_l: Some(off),
            });
        }
        if draw.chance(0.5) {
            let counted = a.expected_used_l * 1000.0
                + if a.fault == "counter_not_reset" {
                    a.capacity_l * 1000.0 * draw.uniform(0.5, 1.0)
                } else {
                    0.0
                };
            case.counter_read.push(CounterRead {
                odometer_km: None,
                time: None,
                order: None,
                note: None,
                used_ml: Some((counted * draw.log_normal(1.0, 0.03)).round()),
                left_ml: draw.chance(0.5).then_some((a.capacity_l * 1000.0 - counted).max(0.0).round()),
                distance_since_fill_km: None,
            });
        }
        if draw.chance(0.4) {
            let wet = a.fault == "additive_leak" && draw.chance(0.8);
            case.surroundings.push(Surroundings {
                odometer_km: None,
                time: None,
                order: None,
                note: None,
                state: if wet { Wetness::Wet } else { Wetness::Dry },
            });
        }
    }

    /// A few bench observations, mostly right.
    fn observe(&self, draw: &mut Draw, fault: &Fault, case: &mut Case) {
        use FaultId as F;
        let is = |ids: &[F]| fault.id.is_some_and(|id| ids.contains(&id));
        let old = self.fitted < 1.0 && self.odometer > 150_000.0;
        let hoses =
            [F::HoseOffUpstream, F::HoseOffDownstream, F::HosesSwapped, F::HoseLeaking, F::HoseBlocked];
        let pressure = [
            F::HoseOffUpstream,
            F::HoseOffDownstream,
            F::HosesSwapped,
            F::HoseLeaking,
            F::HoseBlocked,
            F::ZeroError,
            F::SensorFrozen,
        ];
        // Identifier, probability of yes.
        let possible = [
            ("q_mostly_short_trips", if self.trip < 9.0 { 0.9 } else { 0.15 }),
            ("q_high_mileage_original_filter", if old { 0.95 } else { 0.05 }),
            ("regen_history_interrupted", if self.counts.1 * 3 > self.counts.0 { 0.85 } else { 0.15 }),
            ("regen_interval_short", if self.interval < 280.0 { 0.8 } else { 0.1 }),
            ("pressure_hose_fault_visible", if is(&hoses) { 0.7 } else { 0.03 }),
            ("second_gauge_disagrees", if is(&pressure) { 0.85 } else { 0.05 }),
            ("coolant_below_75c_after_drive", if is(&[F::ThermostatStuckOpen]) { 0.92 } else { 0.04 }),
            ("smoke_test_leak_found", if is(&[F::BoostLeak]) { 0.85 } else { 0.04 }),
            ("boost_below_target", if is(&[F::BoostLeak]) { 0.8 } else { 0.07 }),
            (
                "egr_or_airflow_off_target",
                if is(&[F::EgrStuckOpen, F::FlowMeterDrift]) { 0.75 } else { 0.08 },
            ),
            ("air_mass_check_fails", if is(&[F::FlowMeterDrift]) { 0.8 } else { 0.05 }),
            ("egt_implausible_when_cold", if is(&[F::TemperatureSensor]) { 0.75 } else { 0.03 }),
            ("tailpipe_black_soot", if is(&[F::SubstrateCracked]) { 0.75 } else { 0.04 }),
            ("pn_idle_above_limit", if is(&[F::SubstrateCracked]) { 0.95 } else { 0.05 }),
            (
                "oil_level_above_max",
                if is(&[F::SootShortTrips, F::RegenerationIncomplete]) { 0.4 } else { 0.1 },
            ),
            ("q_recent_sensor_or_exhaust_work", if is(&[F::HosesSwapped]) { 0.8 } else { 0.12 }),
        ];
        let how_many = draw.weighted(&[0.35, 0.25, 0.2, 0.12, 0.08]);
        let mut left: Vec<(&str, f64)> = possible.to_vec();
        for _ in 0..how_many {
            let k = draw.weighted(&vec![1.0; left.len()]);
            let (id, yes) = left.swap_remove(k);
            let answer = if draw.chance(yes) { Answer::Yes } else { Answer::No };
            case.observation.push(Observation {
                odometer_km: None,
                time: None,
                order: None,
                note: None,
                id: id.to_owned(),
                answer,
                because: None,
            });
        }
    }
}

fn tell_codes(draw: &mut Draw, vehicle: &Vehicle, fault: &Fault, case: &mut Case) {
    if draw.chance(0.25) {
        return;
    }
    let pick = |list: (&'static [&'static str], &'static [&'static str])| {
        if vehicle.heavy { list.1 } else { list.0 }
    };
    let own = pick(fault.codes());
    let mut codes = Vec::new();
    if !own.is_empty() && draw.chance(0.5) {
        codes.push(own[draw.weighted(&vec![1.0; own.len()])].to_owned());
    }
    if draw.chance(0.1) {
        // A code that has nothing to do with it, or sits in the memory from long ago.
        let other = pick(Fault::draw(draw).codes());
        if !other.is_empty() {
            codes.push(other[draw.weighted(&vec![1.0; other.len()])].to_owned());
        }
    }
    codes.dedup();
    case.fault_memory.push(FaultMemory {
        odometer_km: None,
        time: None,
        order: None,
        note: None,
        codes,
        role: None,
        cleared: None,
    });
}

/// `value` to the nearest multiple of `step`, as a display with that last digit shows it.
#[must_use]
pub fn round(value: f64, step: f64) -> f64 {
    let digits = (-step.log10()).ceil().max(0.0) as i32;
    let scale = 10_f64.powi(digits);
    // Adding zero turns a negative zero into zero.
    ((value / step).round() * step * scale).round() / scale + 0.0
}

/// A typed reading at an operating point.
#[must_use]
pub fn typed(point: Point, speed: Option<f64>, quantity: Quantity, value: f64, unit: &str) -> Reading {
    Reading {
        odometer_km: None,
        time: None,
        order: None,
        note: None,
        point: Some(point),
        engine_speed_rpm: speed,
        vehicle_speed_km_per_h: None,
        role: Some(Role::Now),
        quantity,
        value,
        unit: unit.to_owned(),
        instrument: Some("controller".to_owned()),
        uncertainty: None,
    }
}
