//! The additive balance: order of entry, corrections, conservation, plain physics, and any nonsense at all.

use demo::histories::{KINDS, history};
use facts::case::{
    Case, CounterEntry, CounterRead, FuelSource, FuelUsed, Known, LevelRead, Refill, ReservoirWeighed,
    Surroundings, Wetness,
};
use facts::{FaultId, Moment};
use infer::balance::{AdditivePrior, Balance, balance};
use proptest::prelude::*;

fn judge(case: &Case) -> Balance {
    balance(case, &AdditivePrior::default(), None)
}

fn probability(b: &Balance, fault: Option<FaultId>) -> f64 {
    b.additive_faults.iter().find(|f| f.0 == fault).map_or(0.0, |f| f.1)
}

fn first(b: &Balance) -> Option<FaultId> {
    b.additive_faults.iter().max_by(|a, b| a.1.total_cmp(&b.1)).and_then(|f| f.0)
}

/// 2 L filled at 50 000 km; set dose 0.5 mL/L at 6 L per 100 km = 0.6 L in 20 000 km = 400 days.
fn plain() -> Case {
    let mut case = Case { schema: facts::case::SCHEMA.to_owned(), ..Case::default() };
    case.reservoir.capacity_l = Some(2.0);
    case.reservoir.density_kg_per_m3 = Some(900.0);
    case.reservoir.tare_g = Some(300.0);
    case.reservoir.dose_ml_per_l = Some(0.5);
    case.car.consumption_l_per_100km = Some(6.0);
    case.refill.push(refill(50_000.0, 1.5, true, "2030-01-01"));
    case.fuel_used.push(FuelUsed {
        odometer_km: Some(70_000.0),
        time: None,
        order: None,
        note: None,
        since_odometer_km: 50_000.0,
        fuel_l: 1200.0,
        source: Some(FuelSource::Receipts),
    });
    case
}

fn refill(km: f64, litres: f64, full: bool, date: &str) -> Refill {
    Refill {
        odometer_km: Some(km),
        time: Moment::parse(date).ok(),
        order: None,
        note: None,
        volume_l: Some(litres),
        mass_g: None,
        full: Some(full),
        reservoir_replaced: None,
        entered_l: None,
        counter_reset: Some(Known::Yes),
        metal_g_per_l: None,
        density_kg_per_m3: None,
        lot: None,
    }
}

fn weighed(km: f64, content_l: f64, date: &str) -> ReservoirWeighed {
    ReservoirWeighed {
        odometer_km: Some(km),
        time: Moment::parse(date).ok(),
        order: None,
        note: None,
        gross_g: 300.0 + 900.0 * content_l,
        tare_g: None,
        resolution_g: Some(1.0),
        uncertainty_g: Some(5.0),
    }
}

fn counted(km: f64, used_ml: f64, date: &str) -> CounterRead {
    CounterRead {
        odometer_km: Some(km),
        time: Moment::parse(date).ok(),
        order: None,
        note: None,
        used_ml: Some(used_ml),
        left_ml: Some(2000.0 - used_ml),
        distance_since_fill_km: None,
    }
}

#[test]
fn analytic_a_sound_car_adds_up() {
    let mut case = plain();
    case.reservoir_weighed.push(weighed(70_000.0, 1.4, "2031-02-05"));
    case.counter_read.push(counted(70_000.0, 600.0, "2031-02-05"));
    let b = judge(&case);
    assert_eq!(first(&b), None, "{:?}", b.additive_faults);
    assert!((b.left_l.p50 - 1.4).abs() < 0.03 && b.left_l.told, "{:?}", b.left_l);
    assert!((b.expected_used_l.p50 - 0.6).abs() < 0.02, "{:?}", b.expected_used_l);
    assert!((b.used_l.p50 - 0.6).abs() < 0.05, "{:?}", b.used_l);
    assert!((b.dose_factor.p50 - 1.0).abs() < 0.07, "{:?}", b.dose_factor);
    // 1.4 L less a tenth of 2 L at 30 mL per 1000 km = 40 000 km, 800 days at 50 km a day
    assert!((b.due_km.p50 - 40_000.0).abs() < 3000.0, "{:?}", b.due_km);
    assert!((b.due_days.p50 - 800.0).abs() < 70.0, "{:?}", b.due_days);
    assert!(b.cannot_tell.is_empty());
}

#[test]
fn analytic_content_gone_and_wet_is_a_leak() {
    let mut case = plain();
    case.reservoir_weighed.push(weighed(70_000.0, 0.9, "2031-02-05"));
    case.counter_read.push(counted(70_000.0, 600.0, "2031-02-05"));
    case.surroundings.push(Surroundings {
        odometer_km: Some(70_000.0),
        time: Moment::parse("2031-02-05").ok(),
        order: None,
        note: None,
        state: Wetness::Wet,
    });
    let b = judge(&case);
    assert_eq!(first(&b), Some(FaultId::AdditiveLeak), "{:?}", b.additive_faults);
    assert!((b.waterfall.unexplained.p50 - 0.5).abs() < 0.08, "{:?}", b.waterfall);
}

#[test]
fn analytic_counter_and_content_both_short_is_refuelling_not_recognised() {
    let mut case = plain();
    case.reservoir_weighed.push(weighed(70_000.0, 1.85, "2031-02-05"));
    case.counter_read.push(counted(70_000.0, 150.0, "2031-02-05"));
    let b = judge(&case);
    assert_eq!(first(&b), Some(FaultId::RefuellingNotRecognised), "{:?}", b.additive_faults);
    assert!((b.dose_factor.p50 - 0.25).abs() < 0.1);
}

#[test]
fn analytic_content_short_of_use_with_a_sound_counter_is_under_dosing() {
    let mut case = plain();
    case.reservoir_weighed.push(weighed(70_000.0, 1.75, "2031-02-05"));
    case.counter_read.push(counted(70_000.0, 600.0, "2031-02-05"));
    let b = judge(&case);
    assert_eq!(first(&b), Some(FaultId::AdditiveUnderDosed), "{:?}", b.additive_faults);
}

#[test]
fn analytic_counter_that_runs_on_was_not_reset() {
    let mut case = plain();
    case.counter_read.push(counted(60_000.0, 300.0, "2030-07-20"));
    let mut again = refill(60_001.0, 0.3, true, "2030-07-21");
    again.counter_reset = None;
    case.refill.push(again);
    case.counter_read.push(counted(70_000.0, 600.0, "2031-02-05"));
    case.reservoir_weighed.push(weighed(70_000.0, 1.7, "2031-02-05"));
    let b = judge(&case);
    assert_eq!(first(&b), Some(FaultId::CounterNotReset), "{:?}", b.additive_faults);
}

#[test]
fn analytic_millilitres_typed_for_litres_is_a_wrong_quantity() {
    let mut case = plain();
    case.refill[0].entered_l = Some(0.002);
    case.reservoir_weighed.push(weighed(70_000.0, 1.4, "2031-02-05"));
    let b = judge(&case);
    assert_eq!(first(&b), Some(FaultId::WrongQuantityEntered), "{:?}", b.additive_faults);
}

#[test]
fn property_an_entry_in_a_row_of_its_own_tells_of_the_pour_before_it() {
    let mut together = plain();
    together.refill[0].entered_l = Some(2.0);
    together.reservoir_weighed.push(weighed(70_000.0, 1.4, "2031-02-05"));
    together.counter_read.push(counted(70_000.0, 600.0, "2031-02-05"));
    let mut apart = together.clone();
    apart.refill[0].entered_l = None;
    apart.counter_entry.push(CounterEntry {
        odometer_km: Some(50_010.0),
        time: Moment::parse("2030-01-02").ok(),
        order: None,
        note: None,
        entered_l: Some(2.0),
        counter_reset: None,
    });
    assert_eq!(judge(&together).additive_faults, judge(&apart).additive_faults);
}

#[test]
fn analytic_a_controller_that_was_told_of_a_fill_nobody_wrote_down() {
    // 0.9 L by the set dose in 30 000 km; the controller counts from a fill 12 000 km ago, and the scale agrees with it.
    let mut case = plain();
    case.fuel_used[0].odometer_km = Some(80_000.0);
    case.fuel_used[0].fuel_l = 1800.0;
    case.reservoir_weighed.push(weighed(80_000.0, 1.64, "2031-09-10"));
    let mut read = counted(80_000.0, 360.0, "2031-09-10");
    read.distance_since_fill_km = Some(12_000.0);
    case.counter_read.push(read);
    let b = judge(&case);
    case.counter_read[0].distance_since_fill_km = None;
    let without = judge(&case);
    let of = |b: &Balance| probability(b, Some(FaultId::RefillNotWrittenDown));
    assert!(of(&b) > 3.0 * of(&without), "{} {}", of(&b), of(&without));
    assert!(of(&b) > 0.3, "{:?}", b.additive_faults);
    assert!((b.left_l.p50 - 1.64).abs() < 0.03, "{:?}", b.left_l);
}

#[test]
fn analytic_nothing_measured_cannot_be_told_and_says_what_would() {
    let case = plain();
    let b = judge(&case);
    assert!(!b.faults_told && !b.left_l.told && !b.used_l.told);
    let question = b.cannot_tell.first().expect("a question stays open");
    assert_eq!(question.reason.id, "balance-reason-nothing-measured");
    assert_eq!(question.would_decide.first().map(|t| t.id), Some("balance-weigh-now"));
}

/// All rows of the balance, turned round and rotated.
fn shuffled(case: &Case, by: usize) -> Case {
    fn turn<T>(rows: &mut [T], by: usize) {
        if !rows.is_empty() {
            let n = rows.len();
            rows.rotate_left(by % n);
            if by % 2 == 1 {
                rows.reverse();
            }
        }
    }
    let mut c = case.clone();
    turn(&mut c.refill, by);
    turn(&mut c.counter_read, by + 1);
    turn(&mut c.counter_entry, by);
    turn(&mut c.reservoir_weighed, by + 2);
    turn(&mut c.level_read, by);
    turn(&mut c.surroundings, by);
    turn(&mut c.fuel_used, by);
    turn(&mut c.trip_computer, by);
    turn(&mut c.odometer_note, by + 1);
    turn(&mut c.reading, by);
    c
}

#[test]
fn property_any_order_of_entry_gives_the_same_bits() {
    for seed in 0..12u64 {
        let mut case = history(900 + seed, KINDS[seed as usize % KINDS.len()], false).case;
        if seed % 2 == 1 {
            // neither times nor orders: every way to read the ties is weighed
            case.refill.iter_mut().for_each(|r| (r.order, r.time) = (None, None));
            case.reservoir_weighed.iter_mut().for_each(|r| (r.order, r.time) = (None, None));
            case.counter_read.iter_mut().for_each(|r| (r.order, r.time) = (None, None));
        }
        let straight = format!("{:?}", judge(&case));
        for by in 1..4 {
            assert_eq!(straight, format!("{:?}", judge(&shuffled(&case, by))), "seed {seed}, turned by {by}");
        }
    }
}

#[test]
fn property_a_corrected_fact_is_as_if_right_at_once() {
    let case = history(77, None, false).case;
    let mut wrong = case.clone();
    wrong.reservoir_weighed[0].gross_g += 400.0;
    let before = format!("{:?}", judge(&wrong));
    wrong.reservoir_weighed[0].gross_g = case.reservoir_weighed[0].gross_g;
    assert_ne!(before, format!("{:?}", judge(&case)));
    assert_eq!(format!("{:?}", judge(&wrong)), format!("{:?}", judge(&case)));
}

#[test]
fn property_volume_is_conserved_and_probabilities_add_up() {
    for seed in 0..20u64 {
        let h = history(3000 + seed, KINDS[seed as usize % KINDS.len()], false);
        let b = judge(&h.case);
        let w = &b.waterfall;
        let capacity = h.case.reservoir.capacity_l.expect("histories state it");
        let gap = w.poured.p50 - w.dosed_by_physics.p50 - w.left.p50 - w.unexplained.p50;
        // Medians of sums are the sums of medians only for symmetric beliefs; what is told is nearly so.
        if b.left_l.p95 - b.left_l.p05 < 0.1 * capacity && w.poured.p95 - w.poured.p05 < 0.2 * capacity {
            assert!(gap.abs() < 0.04 * capacity, "seed {seed}: {gap} of {capacity} L, {w:?}");
        }
        let sum: f64 = b.additive_faults.iter().map(|f| f.1).sum();
        assert!((sum - 1.0).abs() < 1e-9);
        assert!(b.due_km.p10 <= b.due_km.p50 && b.due_km.p50 <= b.due_km.p90);
        assert!(b.left_l.p05 >= 0.0 && b.left_l.p05 <= b.left_l.p50 && b.left_l.p50 <= b.left_l.p95);
    }
}

#[test]
fn property_joined_evidence_gives_back_the_posterior() {
    let prior = AdditivePrior::default();
    let b = balance(&history(41, Some(FaultId::AdditiveLeak), false).case, &prior, None);
    let joint: Vec<f64> = b.log_evidence.iter().map(|(f, e)| prior.share(*f) * e.exp()).collect();
    let sum: f64 = joint.iter().sum();
    for ((fault, p), j) in b.additive_faults.iter().zip(&joint) {
        assert!((p - j / sum).abs() < 1e-6, "{fault:?}: {p} against {}", j / sum);
    }
    assert!((probability(&b, None) - joint[0] / sum).abs() < 1e-6);
}

fn anything() -> impl Strategy<Value = f64> {
    prop_oneof![
        5 => -10.0..5000.0f64,
        3 => 0.0..200_000.0f64,
        1 => Just(0.0),
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(-1e300),
        1 => Just(1e-300),
    ]
}

fn maybe() -> impl Strategy<Value = Option<f64>> {
    prop_oneof![1 => Just(None), 3 => anything().prop_map(Some)]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn property_nothing_makes_it_panic(
        numbers in proptest::collection::vec(maybe(), 24),
        rows in proptest::collection::vec((0u8..8, maybe(), maybe(), maybe(), any::<bool>()), 0..14),
    ) {
        let mut case = plain();
        case.reservoir.capacity_l = numbers[0];
        case.reservoir.tare_g = numbers[1];
        case.reservoir.density_kg_per_m3 = numbers[2];
        case.reservoir.dose_ml_per_l = numbers[3];
        case.reservoir.dose_mg_per_kg = numbers[4];
        case.reservoir.metal_g_per_l = numbers[5];
        case.reservoir.reserve_l = numbers[6];
        case.car.consumption_l_per_100km = numbers[7];
        case.car.odometer_km = numbers[8];
        case.car.distance_per_year_km = numbers[9];
        for (kind, km, a, b, flag) in rows {
            let date = if flag { "2030-05-05" } else { "2029-12-31T10:00" };
            match kind {
                0 | 1 => {
                    let mut r = refill(0.0, 0.0, flag, date);
                    (r.odometer_km, r.volume_l, r.mass_g) = (km, a, b);
                    r.entered_l = b;
                    r.full = if kind == 0 { None } else { Some(flag) };
                    case.refill.push(r);
                }
                2 | 3 => {
                    let mut w = weighed(0.0, 0.0, date);
                    w.odometer_km = km;
                    w.gross_g = a.unwrap_or(0.0);
                    w.resolution_g = b;
                    case.reservoir_weighed.push(w);
                }
                4 => {
                    let mut c = counted(0.0, 0.0, date);
                    (c.odometer_km, c.used_ml, c.left_ml) = (km, a, b);
                    case.counter_read.push(c);
                }
                5 => case.level_read.push(LevelRead {
                    odometer_km: km, time: None, order: None, note: None,
                    level_l: a.unwrap_or(1.0), uncertainty_l: b,
                }),
                6 => case.fuel_used.push(FuelUsed {
                    odometer_km: km, time: None, order: None, note: None,
                    since_odometer_km: a.unwrap_or(0.0), fuel_l: b.unwrap_or(100.0), source: None,
                }),
                _ => case.surroundings.push(Surroundings {
                    odometer_km: km, time: None, order: None, note: None,
                    state: if flag { Wetness::Wet } else { Wetness::Dry },
                }),
            }
        }
        let b = judge(&case);
        let sum: f64 = b.additive_faults.iter().map(|f| f.1).sum();
        prop_assert!((sum - 1.0).abs() < 1e-6, "{:?}", b.additive_faults);
        prop_assert!(b.left_l.p50.is_finite() && b.due_km.p50.is_finite() && b.due_days.p90.is_finite());
        prop_assert!(b.log_evidence.iter().all(|e| e.1.is_finite()));
    }
}

#[test]
fn regress_absurd_weights_leave_probabilities_that_add_up() {
    // Found by the property above: 62 t poured without a volume, and a container weighed at nothing.
    let mut case = plain();
    case.reservoir = facts::case::Reservoir { tare_g: Some(0.0), ..facts::case::Reservoir::default() };
    case.car.consumption_l_per_100km = None;
    case.car.odometer_km = None;
    case.car.distance_per_year_km = None;
    for (mass, volume, full) in
        [(8415.156120253954, Some(1e-300), Some(false)), (62318.362354869794, None, None)]
    {
        let mut r = refill(0.0, 0.0, false, "2029-12-31T10:00");
        (r.odometer_km, r.volume_l, r.mass_g, r.entered_l, r.full) =
            (None, volume, Some(mass), Some(mass), full);
        case.refill.push(r);
    }
    let mut w = weighed(0.0, 0.0, "2029-12-31T10:00");
    (w.odometer_km, w.gross_g, w.resolution_g) = (Some(0.0), 0.0, None);
    case.reservoir_weighed.push(w);
    let sum: f64 = judge(&case).additive_faults.iter().map(|f| f.1).sum();
    assert!((sum - 1.0).abs() < 1e-9, "{sum}");
}
