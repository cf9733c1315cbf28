//! The car as it truly is, and what happens in it during a trace: gears, torque, fuel, air, boost,
//! recirculation, coolant, exhaust temperatures, and the pressure difference over the filter.
//!
//! Common practice and round figures from memory throughout; what matters is that the signals hang
//! together (mass, energy) and lag as they do on the road.

use crate::cycle::{Demand, STEPS};
use crate::draw::Draw;
use crate::filter_truth::Silencer;
use crate::gas;
use facts::case::Category;

/// Lower heating value of diesel, J/g.
const HEATING_VALUE: f64 = 42_800.0;
/// Gas constant of air, J/(kg K).
const R_AIR: f64 = 287.05;

/// Constants of a car.
#[derive(Debug, Clone)]
pub struct Vehicle {
    /// UNECE category.
    pub category: Category,
    /// Mass with driver (and load), kg.
    pub mass: f64,
    /// Displacement, L.
    pub displacement: f64,
    /// Rated power, kW.
    pub power: f64,
    /// Drag area, m2.
    pub drag_area: f64,
    /// Rolling resistance.
    pub rolling: f64,
    /// Road speed at 1000 rpm in each gear, km/h.
    pub gears: Vec<f64>,
    /// Idle speed, rpm.
    pub idle: f64,
    /// Indicated efficiency.
    pub efficiency: f64,
    /// Friction mean effective pressure at rest and its rise per 1000 rpm, bar.
    pub friction: (f64, f64),
    /// Power of the auxiliaries, kW.
    pub auxiliaries: f64,
    /// Full boost over ambient, pressure ratio.
    pub boost_ratio: f64,
    /// Volumetric efficiency.
    pub volumetric: f64,
    /// Recirculated share of the charge at full command.
    pub egr_max: f64,
    /// Share of the command at idle.
    pub egr_idle: f64,
    /// Thermostat, degC.
    pub thermostat: f64,
    /// Share of fuel heat that leaves with the exhaust.
    pub exhaust_share: f64,
    /// Heat loss of manifold and pipe, W/K.
    pub pipe_loss: f64,
    /// Heat capacity of turbine, pipe and catalyst, J/K.
    pub pipe_capacity: f64,
    /// Heat capacity of the filter, J/K.
    pub filter_capacity: f64,
    /// Heat loss of the filter, W/K.
    pub filter_loss: f64,
    /// Pipe and silencer behind the filter.
    pub silencer: Silencer,
    /// Heavier than M1 and N1.
    pub heavy: bool,
}

impl Vehicle {
    /// Draws a car or van, or a heavy vehicle.
    pub fn draw(draw: &mut Draw, heavy: bool) -> Self {
        let displacement = if heavy {
            draw.pick([4.5, 5.1, 6.7, 7.7, 9.0, 10.8, 12.8])
        } else {
            draw.pick([1.2, 1.3, 1.4, 1.5, 1.6, 1.6, 1.7, 1.9, 2.0, 2.0, 2.1, 2.2, 2.3])
        };
        let category = match (heavy, draw.weighted(&[0.7, 0.3])) {
            (false, 0) => Category::M1,
            (false, _) => Category::N1,
            (true, _) if displacement < 6.0 => Category::N2,
            (true, 0) => Category::N3,
            (true, _) => Category::M3,
        };
        let van = category == Category::N1;
        let (mass, drag_area, rolling, top) = if heavy {
            (
                draw.uniform(1300.0, 2300.0) * displacement,
                draw.uniform(4.5, 6.5),
                0.0065,
                draw.uniform(58.0, 68.0),
            )
        } else {
            let mass = 700.0 + displacement * draw.uniform(380.0, 520.0) + if van { 500.0 } else { 0.0 };
            let area = if van { draw.uniform(0.9, 1.6) } else { draw.uniform(0.58, 0.82) };
            (mass, area, 0.011, draw.uniform(46.0, 60.0))
        };
        let count = if heavy { draw.pick([8, 12]) } else { draw.pick([5, 6, 6]) };
        let bottom = if heavy { draw.uniform(7.0, 9.0) } else { draw.uniform(6.8, 8.5) };
        let gears = (0..count)
            .map(|g| bottom * (top / bottom).powf((g as f64 / (count - 1) as f64).powf(0.9)))
            .collect();
        let scale = displacement / 1.8;
        let reference_flow = if heavy { 0.15 } else { 0.05 };
        Self {
            category,
            mass,
            displacement,
            power: displacement * if heavy { draw.uniform(24.0, 30.0) } else { draw.uniform(42.0, 68.0) },
            drag_area,
            rolling: rolling * draw.uniform(0.85, 1.2),
            gears,
            idle: if heavy { draw.uniform(570.0, 720.0) } else { draw.uniform(740.0, 880.0) },
            efficiency: draw.uniform(0.40, 0.46),
            friction: (draw.uniform(0.7, 1.1), draw.uniform(0.22, 0.38)),
            auxiliaries: if heavy { draw.uniform(2.0, 5.0) } else { draw.uniform(0.3, 0.9) },
            boost_ratio: draw.uniform(1.9, 2.6),
            volumetric: draw.uniform(0.82, 0.94),
            egr_max: draw.uniform(0.25, 0.5),
            egr_idle: draw.uniform(0.2, 1.0),
            thermostat: draw.uniform(83.0, 93.0),
            exhaust_share: draw.uniform(0.33, 0.41),
            pipe_loss: draw.uniform(2.0, 5.0) * scale.sqrt(),
            pipe_capacity: draw.uniform(2500.0, 5500.0) * scale,
            filter_capacity: 0.0,
            filter_loss: draw.uniform(0.3, 1.2) * scale.sqrt(),
            silencer: Silencer {
                at_reference: draw.log_normal(if heavy { 1800.0 } else { 1100.0 }, 0.5).clamp(150.0, 6000.0),
                reference_flow,
            },
            heavy,
        }
    }

    /// Standard exhaust flow for the standard pressure drop, kg/s.
    #[must_use]
    pub fn standard_flow(&self) -> f64 {
        if self.heavy { 0.15 } else { 0.05 }
    }

    /// Largest exhaust flow the engine makes, kg/s.
    #[must_use]
    pub fn largest_flow(&self) -> f64 {
        self.displacement * if self.heavy { 0.045 } else { 0.1 }
    }

    fn gear(&self, speed: f64, load: f64) -> usize {
        let floor = if self.heavy { 950.0 } else { 1300.0 } + 700.0 * load;
        let mut chosen = 0;
        for (i, g) in self.gears.iter().enumerate() {
            if speed / g * 1000.0 >= floor {
                chosen = i;
            }
        }
        chosen
    }
}

/// What is wrong with engine and air path.
#[derive(Debug, Clone, Copy, Default)]
pub struct EngineFaults {
    /// Share of boost pressure lost through a leak behind the flow meter.
    pub boost_leak: f64,
    /// Opening of the recirculation valve when it should be shut, 0 to 1.
    pub egr_open: f64,
    /// Coolant temperature the engine does not get above, degC.
    pub thermostat: Option<f64>,
}

/// Surroundings.
#[derive(Debug, Clone, Copy)]
pub struct Air {
    /// Pressure, Pa.
    pub pressure: f64,
    /// Temperature, K.
    pub temperature: f64,
}

/// State of the car when the trace begins.
#[derive(Debug, Clone, Copy)]
pub struct Start {
    /// Coolant, degC.
    pub coolant: f64,
    /// Exhaust pipe, K.
    pub pipe: f64,
    /// Filter, K.
    pub filter: f64,
}

/// A regeneration that the controller starts on the way.
#[derive(Debug, Clone, Copy)]
pub struct Burn {
    /// Beginning, s.
    pub begin: f64,
    /// End, s.
    pub end: f64,
    /// Gas before the filter, K.
    pub target: f64,
}

/// The truth at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Instant {
    /// Seconds since the beginning.
    pub t: f64,
    /// Engine running.
    pub running: bool,
    /// Road speed, km/h.
    pub speed: f64,
    /// Engine speed, rpm.
    pub rpm: f64,
    /// Torque over full torque at this speed, 0 to 1.
    pub load: f64,
    /// Fuel, g/s.
    pub fuel: f64,
    /// Fresh air into the cylinders, g/s.
    pub air: f64,
    /// Fresh air through the flow meter, g/s.
    pub meter: f64,
    /// Manifold pressure, kPa absolute.
    pub manifold: f64,
    /// Air at the intake, degC.
    pub intake: f64,
    /// Coolant, degC.
    pub coolant: f64,
    /// Recirculation asked for, %.
    pub egr_command: f64,
    /// Recirculation valve as it is, %.
    pub egr_actual: f64,
    /// Boost asked for, kPa absolute.
    pub boost_command: f64,
    /// Exhaust mass flow through the filter, g/s.
    pub exhaust: f64,
    /// Gas before turbine, K.
    pub port: f64,
    /// Gas before the filter, K.
    pub before: f64,
    /// Filter, K.
    pub filter: f64,
    /// Gas after the filter, K.
    pub after: f64,
    /// Gauge pressure behind the filter, kPa.
    pub downstream: f64,
    /// Difference between the taps, kPa.
    pub drop: f64,
    /// The controller burns soot.
    pub burning: bool,
}

/// Runs the car through `demands`; `drop` gives the difference between the taps in Pa from time (s), flow
/// (kg/s) and filter temperature (K).
#[allow(clippy::too_many_arguments)] // One call in one place; a struct would only rename the list.
pub fn run(
    vehicle: &Vehicle,
    faults: EngineFaults,
    air: Air,
    start: Start,
    demands: &[Demand],
    burn: Option<Burn>,
    draw: &mut Draw,
    drop: impl Fn(f64, f64, f64) -> f64,
) -> Vec<Instant> {
    let dt = 1.0 / STEPS as f64;
    let swept = vehicle.displacement * 1e-3;
    let full_torque = vehicle.power * 1e3 / (if vehicle.heavy { 220.0 } else { 400.0 }) * 1.25;
    let ambient_kpa = air.pressure / 1000.0;
    let closes_at_idle = draw.chance(0.3);
    let mut out = Vec::with_capacity(demands.len());
    let mut rpm = 0.0_f64;
    let mut previous_speed = 0.0;
    let mut manifold = ambient_kpa;
    let mut egr = 0.0_f64;
    let mut coolant = start.coolant;
    let mut intake = air.temperature - 273.15 + draw.uniform(2.0, 10.0);
    let mut load = 0.0_f64;
    let mut lagged_acceleration = 0.0;
    let mut pipes = [start.pipe + 30.0, start.pipe];
    let mut cells = [start.filter; 4];
    let mut idle_time = 0.0;
    let mut gear = 0;
    let mut swing = 0.0;
    let mut heat = 0.0;
    for (i, demand) in demands.iter().enumerate() {
        let (speed, target_rpm, running) = match *demand {
            Demand::KeyOn => (0.0, 0.0, false),
            Demand::Held(r) => (0.0, if r > 0.0 { r } else { vehicle.idle }, true),
            Demand::Drive(v) => (v, 0.0, true),
        };
        swing += dt / 3.0 * (draw.normal(0.0, 2.0) - swing);
        let acceleration = (speed - previous_speed) / 3.6 / dt;
        lagged_acceleration += dt / 0.8 * (acceleration - lagged_acceleration);
        previous_speed = speed;
        if i % STEPS == 0 {
            gear = vehicle.gear(speed, load);
        }
        let wanted = if let Demand::Drive(v) = demand {
            (v / vehicle.gears[gear] * 1000.0).max(vehicle.idle)
        } else {
            target_rpm
        };
        rpm += dt / if running { 0.35 } else { 0.5 } * (wanted - rpm);
        let turning = rpm > 150.0 && running;
        let omega = rpm / 60.0 * std::f64::consts::TAU;
        // Traction, friction, auxiliaries.
        let v = speed / 3.6;
        let traction = (vehicle.mass * 1.05 * lagged_acceleration
            + if v > 0.3 { vehicle.mass * 9.81 * vehicle.rolling } else { 0.0 }
            + 0.6 * vehicle.drag_area * v * v)
            * v
            / 0.92;
        let cold = 1.0 + 0.6 * ((80.0 - coolant) / 80.0).clamp(0.0, 1.2);
        let friction_bar = (vehicle.friction.0 + vehicle.friction.1 * rpm / 1000.0) * cold;
        let friction = friction_bar * 1e5 * swept * rpm / 120.0;
        let indicated = traction + friction + vehicle.auxiliaries * 1e3;
        let full = full_torque * (0.35 + 0.65 * ((rpm - 800.0) / 900.0).clamp(0.0, 1.0)) * omega + friction;
        let indicated = if turning { indicated.min(full) } else { 0.0 };
        // Overrun cut-off above idle speed.
        let mut fuel =
            if turning && indicated > 0.0 { indicated / (vehicle.efficiency * HEATING_VALUE) } else { 0.0 };
        if turning && rpm < vehicle.idle * 1.25 {
            fuel = fuel.max(friction / (vehicle.efficiency * HEATING_VALUE));
        }
        let new_load = if turning {
            ((fuel * vehicle.efficiency * HEATING_VALUE - friction) / (full - friction).max(1.0))
                .clamp(0.0, 1.0)
        } else {
            0.0
        };
        load += dt / 0.3 * (new_load - load);
        // Boost.
        let drive = load.powf(0.7)
            * ((rpm - if vehicle.heavy { 700.0 } else { 1000.0 })
                / if vehicle.heavy { 500.0 } else { 1000.0 })
            .clamp(0.0, 1.0)
            + 0.06 * ((rpm - 1500.0) / 1500.0).clamp(0.0, 1.0);
        let boost_command = ambient_kpa * (1.0 + (vehicle.boost_ratio - 1.0) * drive.min(1.0));
        let reached = ambient_kpa + (boost_command - ambient_kpa) * (1.0 - faults.boost_leak);
        let throttled = if turning { ambient_kpa * 0.012 * rpm / 2000.0 } else { 0.0 };
        manifold += dt / 0.7 * (reached - throttled - manifold);
        // Recirculation.
        idle_time = if turning && load < 0.08 && speed < 1.0 { idle_time + dt } else { 0.0 };
        let warm = ((coolant - 25.0) / 35.0).clamp(0.0, 1.0);
        let light = (1.0 - (load - 0.08).max(0.0) / 0.45).clamp(0.0, 1.0);
        let slow = (1.0 - (rpm - 2400.0).max(0.0) / 800.0).clamp(0.0, 1.0);
        let at_idle = if load < 0.06 && speed < 1.0 { vehicle.egr_idle } else { 1.0 };
        let mut command = if turning { warm * light * slow * at_idle } else { 0.0 };
        let now = i as f64 * dt;
        let burning = burn.is_some_and(|b| turning && (b.begin..b.end).contains(&now));
        if burning {
            // Late fuel heats the exhaust; recirculation is shut.
            command = 0.0;
        }
        if closes_at_idle && idle_time > 60.0 {
            command = 0.0;
        }
        let reach = command.max(faults.egr_open);
        egr += dt / 0.4 * (reach - egr);
        let recirculated = egr * vehicle.egr_max * if faults.egr_open > 0.0 { 1.0 + 0.3 * load } else { 1.0 };
        // Charge.
        let charge_temperature =
            air.temperature + 12.0 + 25.0 * (manifold / ambient_kpa - 1.0).max(0.0) + 90.0 * recirculated;
        let cylinder = if turning {
            vehicle.volumetric * swept * rpm / 120.0 * manifold * 1e3 / (R_AIR * charge_temperature) * 1e3
        } else {
            0.0
        };
        let fresh = cylinder * (1.0 - recirculated);
        // Smoke limit: the controller gives no more fuel than the air it believes in can burn.
        fuel = (fuel + if burning { 0.012 * fresh } else { 0.0 }).min(fresh / 16.5);
        let gauge = (manifold - ambient_kpa).max(0.0);
        let meter = fresh * (1.0 + faults.boost_leak * (0.06 + 0.9 * (gauge / 45.0).min(1.3)));
        // Coolant.
        let heat_to_coolant = 0.27 * fuel * HEATING_VALUE;
        let capacity = vehicle.displacement * 14_000.0 + 6_000.0;
        let ceiling = faults.thermostat.unwrap_or(vehicle.thermostat) + swing * 0.4 + 2.0 * load;
        let loss = vehicle.displacement * 9.0 * (coolant - (air.temperature - 273.15));
        coolant += dt * (heat_to_coolant - loss) / capacity;
        if coolant > ceiling {
            coolant += dt / 20.0 * (ceiling - coolant);
        }
        intake += dt / 40.0 * (air.temperature - 273.15 + 4.0 + 14.0 * (-speed / 30.0).exp() - intake);
        // Exhaust temperatures.
        let exhaust = fresh + fuel;
        let through = exhaust + cylinder * recirculated;
        let port = if through > 0.05 {
            charge_temperature
                + 30.0 * load
                + vehicle.exhaust_share * fuel * HEATING_VALUE / (through * 1e-3 * gas::heat_capacity(600.0))
        } else {
            pipes[0]
        };
        let port = port.min(1080.0);
        let mut gas_temperature = port;
        let flow_heat = exhaust * 1e-3 * gas::heat_capacity(gas_temperature.clamp(300.0, 1000.0));
        for pipe in &mut pipes {
            let exchange = 4.0 + 120.0 * (exhaust / 100.0).powf(0.8);
            let share = if flow_heat > 0.01 { 1.0 - (-exchange / flow_heat).exp() } else { 0.0 };
            let given = flow_heat * share * (gas_temperature - *pipe);
            let lost = vehicle.pipe_loss * 0.5 * (1.0 + 0.015 * speed) * (*pipe - air.temperature);
            *pipe += dt * (given - lost) / (0.5 * vehicle.pipe_capacity);
            gas_temperature -= share * (gas_temperature - *pipe);
        }
        let before = gas_temperature + if fuel > 0.05 && gas_temperature > 470.0 { 6.0 } else { 0.0 };
        heat += dt / 35.0 * (if burning { 1.0 } else { 0.0 } - heat);
        let before = before + heat * burn.map_or(0.0, |b| (b.target - before).max(0.0));
        let mut t = before;
        for cell in &mut cells {
            let given = flow_heat * (t - *cell);
            let lost = vehicle.filter_loss / 4.0 * (*cell - air.temperature);
            // Well mixed and implicit, so that a small filter in a large flow stays stable.
            let c = vehicle.filter_capacity / 4.0 / dt;
            *cell += (given - lost) / (c + flow_heat);
            t = *cell;
        }
        let filter = cells.iter().sum::<f64>() / 4.0;
        let flow = exhaust * 1e-3;
        out.push(Instant {
            t: now,
            running,
            speed,
            rpm: if rpm < 60.0 { 0.0 } else { (rpm + swing * 2.0).max(0.0) },
            load,
            fuel,
            air: fresh,
            meter,
            manifold: manifold + swing * 0.1,
            intake,
            coolant,
            egr_command: 100.0 * command,
            egr_actual: 100.0 * egr,
            boost_command,
            exhaust,
            port,
            before,
            filter,
            after: cells[3],
            downstream: if flow > 0.0 { vehicle.silencer.back_pressure(flow, cells[3]) / 1e3 } else { 0.0 },
            drop: drop(now, flow, filter) / 1e3,
            burning,
        });
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle;

    fn trace(stream: u64, heavy: bool, drive: bool) -> (Vehicle, Vec<Instant>) {
        let mut draw = Draw::new(11, stream);
        let mut vehicle = Vehicle::draw(&mut draw, heavy);
        vehicle.filter_capacity = 2.0e6 * vehicle.displacement * 1e-3;
        let demands = if drive {
            cycle::drive(&mut draw, 15.0, cycle::Style::Mixed, heavy, 5.0)
        } else {
            cycle::workshop(&mut draw, heavy)
        };
        let air = Air { pressure: 99_000.0, temperature: 288.0 };
        let start = Start { coolant: 80.0, pipe: 400.0, filter: 400.0 };
        let out = run(&vehicle, EngineFaults::default(), air, start, &demands, None, &mut draw, |_, m, t| {
            4e4 * m * (t / 573.15).powf(1.7)
        });
        (vehicle, out)
    }

    #[test]
    fn property_mass_and_energy_hang_together() {
        for stream in 0..12 {
            let (vehicle, out) = trace(stream, stream % 4 == 0, true);
            let mut fuel = 0.0;
            let mut distance = 0.0;
            for i in &out {
                assert!((i.exhaust - i.air - i.fuel).abs() < 1e-9);
                assert!(i.fuel <= i.air / 14.5 + 1e-9, "richer than stoichiometric");
                assert!((260.0..1100.0).contains(&i.before), "{}", i.before);
                assert!(i.exhaust < 1e3 * vehicle.largest_flow(), "{} {}", i.exhaust, vehicle.displacement);
                fuel += i.fuel * 0.1;
                distance += i.speed / 3600.0 * 0.1;
            }
            let litres = fuel / 835.0 / distance * 100.0;
            let band = if vehicle.heavy { 10.0..70.0 } else { 3.0..16.0 };
            assert!(band.contains(&litres), "{litres} L/100 km");
        }
    }

    #[test]
    fn property_idle_and_held_speed_look_like_an_engine() {
        for stream in 0..10 {
            let (vehicle, out) = trace(stream, false, false);
            let idle = &out[600];
            assert!((idle.rpm - vehicle.idle).abs() < 30.0);
            assert!((3.0..16.0).contains(&idle.air), "idle air {} g/s", idle.air);
            let litres_per_hour = idle.fuel * 3600.0 / 835.0;
            assert!((0.2..1.3).contains(&litres_per_hour), "idle {litres_per_hour} L/h");
            let held = out.iter().rfind(|i| i.rpm > 2400.0 && i.rpm < 2600.0).unwrap();
            assert!((12.0..75.0).contains(&held.air), "2500 rpm {} g/s", held.air);
        }
    }
}
