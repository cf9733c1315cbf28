//! Speed of what a screen waits for. Run: `cargo bench -p additive`.
#![allow(clippy::unwrap_used, missing_docs)]

use std::collections::BTreeMap;

use additive::estimate::{Estimate, Uncertain};
use additive::fluid::Library;
use additive::identify::{Observation, identify};
use additive::live::{LiveFill, Target, Weight};
use additive::transfer::{Bottle, Fill, Receiver};
use divan::Bencher;

fn main() {
    divan::main();
}

fn text() -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../knowledge/fluids.toml");
    std::fs::read_to_string(path).unwrap()
}

fn library() -> Library {
    Library::from_texts([("fluids.toml", text().as_str())]).unwrap()
}

fn fill() -> Fill {
    Fill {
        volume_l: 2.0,
        bore_mm: Uncertain::new(3.0, 0.05),
        length_m: Uncertain::new(1.5, 0.02),
        fittings_k: Uncertain::new(4.0, 1.0),
        head_cm: Uncertain::new(60.0, 2.0),
        bottle_area_cm2: Uncertain::new(100.0, 5.0),
        bottle: Bottle::Vented,
        receiver: Receiver::Pouch,
        degc: 10.0,
        press_kpa: None,
    }
}

#[divan::bench]
fn read_fluids(bencher: Bencher) {
    let text = text();
    bencher.bench(|| Library::from_texts([("fluids.toml", text.as_str())]).unwrap());
}

#[divan::bench]
fn plan_a_fill_with_levers(bencher: Bencher) {
    let library = library();
    let fluid = library.get("concentrate-iron").unwrap();
    bencher.bench(|| fill().plan(fluid).unwrap());
}

#[divan::bench]
fn identify_from_two_tests(bencher: Bencher) {
    let library = library();
    let seen = [
        Observation::Density { kg_m3: 1089.0, standard_uncertainty: 2.0, degc: 20.0 },
        Observation::Refractive { index: 1.3826, standard_uncertainty: 5e-4, degc: 20.0 },
    ];
    bencher.bench(|| identify(&library, &BTreeMap::new(), &seen).unwrap());
}

#[divan::bench]
fn a_thousand_weights(bencher: Bencher) {
    let library = library();
    let fluid = library.get("concentrate-iron").unwrap();
    let setup = fill().best_setup(fluid).unwrap();
    let course = setup.course(2e-3, 40).unwrap();
    let minutes = course.last().unwrap().0 / 60.0;
    let plan = Estimate { p05: 0.7 * minutes, p50: minutes, p95: 1.4 * minutes };
    let target = Target::of(&course, plan, setup.density_kg_m3, 9.0, 0.6, None).unwrap();
    bencher.bench(|| {
        let mut live = LiveFill::new(target.clone()).unwrap();
        for i in 0..1000 {
            let t = f64::from(i);
            live.push(Weight { time_s: t, receiver_g: Some(400.0 + 0.9 * t), bottle_g: None }).unwrap();
        }
        live
    });
}
