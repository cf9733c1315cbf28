//! Prediction, not description: constants are fitted on one part of a measured table (or printed by its
//! authors) and the rest is predicted. The bounds say how well that goes; they are not aims.
//!
//! Data: `checks/data/measured/`, digitised from SAE 2000-01-1016 (figures 4, 5, 10-13, 23); printed
//! tables of Bai et al. 2016 and Du et al. 2018.
#![allow(missing_docs, clippy::unwrap_used)]

use wallflow::deep_bed::{Collector, DeepBed};
use wallflow::geometry::{Cells, Geometry, cells_from_cpsi, round_face};
use wallflow::media::{Ash, Cake, Duty, Media, Wall, ash_product, cake_product};
use wallflow::{Density, Deposits, Ends, Filter, FlowState, Gas, media, pressure};

const ATM: f64 = 101_325.0;

fn table(name: &str) -> Vec<csv::StringRecord> {
    let path = format!("{}/../../checks/data/measured/{name}", env!("CARGO_MANIFEST_DIR"));
    csv::Reader::from_path(path).unwrap().records().map(|r| r.unwrap()).collect()
}

/// Soot load (kg/m3) and measured drop (Pa).
type Curve = Vec<(f64, f64)>;

struct Rig {
    geometry: Geometry,
    flow: FlowState,
}

impl Rig {
    fn light(cpsi: f64, wall: f64) -> Self {
        let geometry =
            Geometry::new(Cells::symmetric(cells_from_cpsi(cpsi), wall).unwrap(), round_face(0.1438), 0.1524)
                .unwrap()
                .with_filtering_length(0.144)
                .unwrap();
        Self { geometry, flow: FlowState::new(70.0 / 3600.0, 553.15, ATM).unwrap() }
    }
    fn heavy() -> Self {
        let geometry = Geometry::new(
            Cells::symmetric(cells_from_cpsi(100.0), 0.4318e-3).unwrap(),
            round_face(0.2667),
            0.3048,
        )
        .unwrap()
        .with_filtering_length(0.2964)
        .unwrap();
        Self { geometry, flow: FlowState::new(0.3041, 533.15, ATM).unwrap() }
    }
    fn drop(&self, wall: f64, product: f64, packing: f64, soot: f64) -> f64 {
        let media = Media::default()
            .with_wall(Wall::new(wall).unwrap())
            .with_cake(Cake::new(product, packing).unwrap());
        let filter = Filter { geometry: self.geometry, media, ends: Ends::Reference };
        let d = Deposits::new(soot, 0.0, 0.0).unwrap();
        pressure::closed_form(&filter, &d, &Gas::exhaust(), &self.flow, Density::Mean).unwrap().total()
    }
    /// Wall and product that fit some points best (relative least squares on a fine grid).
    fn fit(&self, points: &[(f64, f64)], packing: f64) -> (f64, f64) {
        let mut best = (f64::INFINITY, 0.0, 0.0);
        for i in 0..120 {
            for j in 0..120 {
                let wall = 3e-14 * (40.0_f64).powf(f64::from(i) / 119.0);
                let product = 6e-13 * (10.0_f64).powf(f64::from(j) / 119.0);
                let miss: f64 =
                    points.iter().map(|p| (self.drop(wall, product, packing, p.0) / p.1 - 1.0).powi(2)).sum();
                if miss < best.0 {
                    best = (miss, wall, product);
                }
            }
        }
        (best.1, best.2)
    }
}

fn light(filter: &str) -> Curve {
    let rows = table("s57-soot-loading.csv");
    rows.iter()
        .filter(|r| &r[2] == filter)
        .map(|r| (r[12].parse().unwrap(), r[13].parse().unwrap()))
        .collect()
}

fn heavy(grade: &str) -> Curve {
    let rows = table("s57-heavy-duty-loading.csv");
    rows.iter().filter(|r| &r[2] == grade).map(|r| (r[13].parse().unwrap(), r[14].parse().unwrap())).collect()
}

fn rms(misses: &[f64]) -> f64 {
    (misses.iter().map(|m| m * m).sum::<f64>() / misses.len() as f64).sqrt()
}

#[test]
fn reference_light_duty_curves_are_continued_from_their_first_part() {
    for (name, cpsi, wall) in [("A", 200.0, 0.356e-3), ("B", 100.0, 0.43e-3)] {
        let (rig, curve) = (Rig::light(cpsi, wall), light(name));
        let (first, rest): (Vec<_>, Vec<_>) = curve.into_iter().partition(|p| p.0 < 6.0);
        let packing = media::cake_packing().median;
        let (k, product) = rig.fit(&first, packing);
        let misses: Vec<f64> = rest
            .iter()
            .filter(|p| p.0 < 15.0)
            .map(|p| rig.drop(k, product, packing, p.0) / p.1 - 1.0)
            .collect();
        println!(
            "{name}: wall {k:.2e} m2, product {product:.2e} kg/m; 6-15 g/L predicted with rms {:.1} %",
            100.0 * rms(&misses)
        );
        assert!(rms(&misses) < 0.08, "{name}: {misses:?}");
        // The fitted product must lie in the 90 % band of the prior for cars.
        let prior = cake_product(Duty::Light);
        assert!(((product / prior.median).ln() / prior.log_sigma).abs() < 1.645);
    }
}

#[test]
fn reference_light_duty_filter_b_is_predicted_from_a() {
    // Same engine, other honeycomb: cake and wall carried over, geometry changed.
    let a = Rig::light(200.0, 0.356e-3);
    let packing = media::cake_packing().median;
    let first: Curve = light("A").into_iter().filter(|p| p.0 < 8.0).collect();
    let (k, product) = a.fit(&first, packing);
    let b = Rig::light(100.0, 0.43e-3);
    let misses: Vec<f64> = light("B")
        .iter()
        .filter(|p| p.0 < 15.0)
        .map(|p| b.drop(k, product, packing, p.0) / p.1 - 1.0)
        .collect();
    println!(
        "B from A: rms {:.1} %, mean {:+.1} %",
        100.0 * rms(&misses),
        100.0 * misses.iter().sum::<f64>() / misses.len() as f64
    );
    assert!(rms(&misses) < 0.25, "{misses:?}");
}

#[test]
fn reference_heavy_duty_curves_are_continued_above_the_jump() {
    let mut all = Vec::new();
    for grade in ["c1", "c2", "c3", "c4"] {
        let (rig, curve) = (Rig::heavy(), heavy(grade));
        let part: Curve = curve.iter().copied().filter(|p| (1.3..3.0).contains(&p.0)).collect();
        let (k, product) = rig.fit(&part, 91.0);
        let misses: Vec<f64> = curve
            .iter()
            .filter(|p| p.0 >= 3.0)
            .map(|p| rig.drop(k, product, 91.0, p.0) / p.1 - 1.0)
            .collect();
        println!(
            "{grade}: loaded wall {k:.2e} m2, product {product:.2e} kg/m; above 3 g/L rms {:.1} %",
            100.0 * rms(&misses)
        );
        all.extend(misses);
        // Soot read back from pressure with the bare wall would be far too high: the reason why the loaded
        // wall is an unknown of its own.
        let bare = curve[0];
        assert!(
            rig.drop(3e-13, product, 91.0, 2.0) < 0.75 * curve.iter().find(|p| p.0 > 2.0).unwrap().1,
            "{bare:?}"
        );
    }
    // Grades with fine pores (c1, c4) are continued within 2 %. Those with 24 and 34 um (c2, c3) are still
    // filling at 1.3-2 g/L, so a straight line from there predicts 10-15 % too much.
    println!("all grades: rms {:.1} %", 100.0 * rms(&all));
    assert!(rms(&all) < 0.12, "{}", rms(&all));
}

#[test]
fn reference_deep_bed_with_printed_constants_gives_the_jump_within_a_factor() {
    // Table 7 of SAE 2000-01-1016: pore, porosity, wall and cake permeability, density in the wall, psi.
    let grades = [
        ("c1", 13.4e-6, 0.48, 2.4e-13, 1.8e-14, 14.1, 0.9203),
        ("c2", 24.4e-6, 0.50, 3.3e-13, 1.9e-14, 12.24, 0.9246),
        ("c3", 34.1e-6, 0.50, 3.5e-13, 2.1e-14, 12.22, 0.9201),
        ("c4", 12.5e-6, 0.50, 1.8e-13, 2.2e-14, 8.26, 0.8651),
    ];
    let rig = Rig::heavy();
    let area = rig.geometry.filtration_area_per_volume();
    let velocity =
        rig.flow.mass_flow() / Gas::exhaust().density(ATM, 533.15) / rig.geometry.filtration_area();
    for (name, pore, porosity, permeability, cake, soot_density, percolation) in grades {
        let mut wall = DeepBed::new(Collector {
            pore,
            porosity,
            percolation,
            soot_density,
            permeability,
            thickness: 0.4318e-3,
            particle: 1e-7,
        })
        .unwrap();
        let mut misses = Vec::new();
        let mut load = 0.0;
        for (soot, measured) in heavy(name) {
            while load < soot {
                wall.load(0.005 / area, velocity, 533.15).unwrap();
                load += 0.005;
            }
            let drop = rig.drop(wall.permeability(), cake * 91.0, 91.0, wall.soot().0 * area);
            misses.push(drop / measured - 1.0);
        }
        println!(
            "{name}: resistance ratio {:.2}, in the wall {:.2} g/L, curve rms {:.0} %, last point {:+.0} %",
            permeability / wall.permeability(),
            wall.soot().1 * area,
            100.0 * rms(&misses),
            100.0 * misses[misses.len() - 1]
        );
        assert!(permeability / wall.permeability() > 1.3, "{name}: no jump");
        assert!(rms(&misses) < 0.5, "{name}: {misses:?}");
    }
}

#[test]
fn reference_ash_flow_is_predicted_from_the_clean_filter_and_the_printed_layer() {
    let air = Gas::air();
    let geometry = Geometry::new(
        Cells::symmetric(cells_from_cpsi(100.0), 0.4318e-3).unwrap(),
        round_face(0.0676),
        0.3048,
    )
    .unwrap()
    .with_filtering_length(0.2964)
    .unwrap();
    let rows = table("s57-ash-flow.csv");
    let drop = |wall: f64, ash: Ash, load: f64, litres_min: f64| {
        let media = Media::default().with_wall(Wall::new(wall).unwrap()).with_ash(ash);
        let filter = Filter { geometry, media, ends: Ends::Reference };
        let flow = FlowState::new(litres_min / 60e3 * air.density(ATM, 293.15), 293.15, ATM).unwrap();
        let d = Deposits::new(0.0, load, 0.0).unwrap();
        pressure::closed_form(&filter, &d, &air, &flow, Density::Mean).unwrap().total()
    };
    let points = |state: &str| -> Vec<(f64, f64)> {
        rows.iter()
            .filter(|r| &r[2] == state)
            .map(|r| (r[10].parse().unwrap(), r[12].parse().unwrap()))
            .collect()
    };
    let nominal = Ash::new(6e-14, 400.0, 500.0).unwrap();
    // Wall from the clean points only.
    let wall = (0..200)
        .map(|i| 2e-13 * 4.0_f64.powf(f64::from(i) / 199.0))
        .min_by(|a, b| {
            let miss = |k: f64| {
                points("clean").iter().map(|p| (drop(k, nominal, 0.0, p.0) / p.1 - 1.0).powi(2)).sum::<f64>()
            };
            miss(*a).total_cmp(&miss(*b))
        })
        .unwrap();
    // The authors' printed pairs of density and permeability bracket the measured points.
    let loose = Ash::new(7.4e-14, 400.0, 500.0).unwrap();
    let dense = Ash::new(2.77e-14, 1000.0, 500.0).unwrap();
    for (flow, measured) in points("ash") {
        let (a, b) = (drop(wall, loose, 15.27, flow), drop(wall, dense, 15.27, flow));
        println!("{flow} L/min: measured {measured}, printed layers {a:.0} and {b:.0} Pa");
        assert!((a / measured - 1.0).abs() < 0.2 && (b / measured - 1.0).abs() < 0.2);
    }
    let prior = ash_product();
    for pair in [7.4e-14 * 400.0, 2.77e-14 * 1000.0] {
        assert!((pair / prior.median).ln().abs() < 1.645 * prior.log_sigma);
    }
}

#[test]
fn reference_bench_resistance_has_a_jump_and_a_straight_part() {
    // Du et al., Energies 11 (2018) 472, table 4: resistance in arbitrary units. A wall that fills and a
    // cake are fitted on loads up to 3.0 g/L; 3.8 and 4.0 g/L are predicted.
    let rows: Curve = table("s24-soot-resistance.csv")
        .iter()
        .map(|r| (r[2].parse().unwrap(), r[3].parse().unwrap()))
        .collect();
    let clean = rows[0].1;
    let ratio = |s: f64, excess: f64, slope: f64| {
        let wall = Wall::new(3e-13).unwrap().with_loading(1.0 + excess, 0.5).unwrap();
        clean * (3e-13 / wall.permeability(wall.fill(s), 0.0) + slope * s)
    };
    let mut best = (f64::INFINITY, 0.0, 0.0);
    for i in 0..100 {
        for j in 0..100 {
            let (excess, slope) = (f64::from(i) * 0.02, f64::from(j) * 0.005);
            let miss: f64 = rows
                .iter()
                .filter(|p| p.0 <= 3.0)
                .map(|p| (ratio(p.0, excess, slope) / p.1 - 1.0).powi(2))
                .sum();
            if miss < best.0 {
                best = (miss, excess, slope);
            }
        }
    }
    for p in rows.iter().filter(|p| p.0 > 3.0) {
        let v = ratio(p.0, best.1, best.2);
        println!("{} g/L: {v:.2} against {}, excess of the wall {:.2}", p.0, p.1, best.1);
        assert!((v / p.1 - 1.0).abs() < 0.12);
    }
    let prior = media::wall_loading_excess();
    assert!(((best.1 / prior.median).ln() / prior.log_sigma).abs() < 1.645, "{}", best.1);
}
