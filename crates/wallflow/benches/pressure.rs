//! Speed of the closed form and of the one-dimensional solution.
//!
//! `cargo bench -p wallflow`
#![allow(missing_docs, clippy::unwrap_used)]

use divan::{Bencher, black_box};
use wallflow::channel::{self, Options, Profile, Zone};
use wallflow::geometry::{Cells, Geometry, round_face};
use wallflow::media::{Cake, Media, Slip, Wall};
use wallflow::{Density, Deposits, Ends, Filter, FlowState, Gas, pressure};

fn main() {
    divan::main();
}

fn filter(slip: bool) -> Filter {
    let cells = Cells::from_cpsi_mil(200.0, 12.0).unwrap();
    let mut wall = Wall::new(5e-13).unwrap();
    let mut cake = Cake::new(1.9e-12, 90.0).unwrap();
    if slip {
        wall = wall.with_slip(Slip::new(12e-6, 573.15).unwrap());
        cake = cake.with_slip(Slip::new(90e-9, 573.15).unwrap());
    }
    Filter {
        geometry: Geometry::new(cells, round_face(0.1438), 0.1524).unwrap(),
        media: Media::default().with_wall(wall).with_cake(cake),
        ends: Ends::Reference,
    }
}

fn deposits() -> Deposits {
    Deposits::new(4.0, 15.0, 0.6).unwrap()
}

#[divan::bench(args = [false, true])]
fn viscous_resistance(bencher: Bencher<'_, '_>, slip: bool) {
    let (f, d) = (filter(slip), deposits());
    bencher.bench_local(|| {
        pressure::viscous_resistance(
            black_box(&f.geometry),
            black_box(&d),
            black_box(&f.media),
            573.15,
            1.05e5,
        )
    });
}

#[divan::bench(args = [false, true])]
fn closed_form(bencher: Bencher<'_, '_>, slip: bool) {
    let (f, d, gas) = (filter(slip), deposits(), Gas::exhaust());
    let flow = FlowState::new(0.05, 573.15, 101_325.0).unwrap();
    bencher.bench_local(|| {
        pressure::closed_form(black_box(&f), black_box(&d), &gas, black_box(&flow), Density::Mean)
    });
}

#[divan::bench(args = [false, true])]
fn one_dimensional(bencher: Bencher<'_, '_>, slip: bool) {
    let (f, d, gas) = (filter(slip), deposits(), Gas::exhaust());
    let flow = FlowState::new(0.05, 573.15, 101_325.0).unwrap();
    bencher.bench_local(|| {
        channel::solve_even(black_box(&f), black_box(&d), &gas, black_box(&flow), &Options::default())
    });
}

#[divan::bench(args = [1, 2, 4])]
fn one_dimensional_zones_and_profiles(bencher: Bencher<'_, '_>, count: usize) {
    let (f, gas) = (filter(true), Gas::exhaust());
    let flow = FlowState::new(0.05, 573.15, 101_325.0).unwrap();
    let zones: Vec<Zone> = (0..count)
        .map(|i| Zone {
            share: 1.0 / count as f64,
            deposits: Deposits::new(3.0 + i as f64, 15.0, 0.6).unwrap(),
            soot: Profile::new(&[0.8, 1.0, 1.2]).unwrap(),
            ash: Profile::even(),
        })
        .collect();
    bencher
        .bench_local(|| channel::solve(black_box(&f), &zones, &gas, black_box(&flow), &Options::default()));
}
