//! The one-dimensional solution against an independent SciPy solution of the same equations
//! (`checks/python/two_channel_bvp.py`, which states the versions in the header of its table).
#![allow(missing_docs, clippy::unwrap_used)]

use std::collections::HashMap;
use wallflow::channel::{self, Options, Profile, Zone};
use wallflow::geometry::{Cells, Geometry, cells_from_cpsi, round_face};
use wallflow::media::{Ash, Cake, Media, Slip, Wall};
use wallflow::{Density, Deposits, Ends, Filter, FlowState, Gas, pressure};

struct Case {
    id: String,
    filter: Filter,
    zone: Zone,
    flow: FlowState,
    options: Options,
    drop: f64,
    velocity: (f64, f64),
}

fn cases() -> Vec<Case> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../checks/data/two_channel_bvp.csv");
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(path).unwrap();
    reader
        .deserialize::<HashMap<String, String>>()
        .map(|row| {
            let row = row.unwrap();
            let v = |key: &str| row[key].parse::<f64>().unwrap();
            let cells = Cells::inlet_wide(cells_from_cpsi(v("cpsi")), v("wall_m"), v("inlet_ratio")).unwrap();
            let geometry = Geometry::new(cells, round_face(v("diameter_m")), v("length_m"))
                .unwrap()
                .with_filtering_length(v("filtering_length_m"))
                .unwrap();
            let slip = |pore: f64| (pore > 0.0).then(|| Slip::new(pore, v("slip_reference_k")).unwrap());
            let mut wall =
                Wall::new(v("k_wall_m2")).unwrap().with_forchheimer(v("forchheimer_per_m")).unwrap();
            if let Some(s) = slip(v("wall_pore_m")) {
                wall = wall.with_slip(s);
            }
            let mut cake = Cake::new(v("cake_product_kg_m"), v("cake_packing_kg_m3")).unwrap();
            if let Some(s) = slip(v("cake_pore_m")) {
                cake = cake.with_slip(s);
            }
            let ash = Ash::new(v("ash_k_m2"), v("ash_packing_kg_m3"), v("plug_packing_kg_m3")).unwrap();
            let knots: Vec<f64> = row["soot_profile"].split(' ').map(|k| k.parse().unwrap()).collect();
            let deposits = Deposits::new(v("soot_kg_m3"), v("ash_kg_m3"), v("plug_share")).unwrap();
            Case {
                id: row["id"].clone(),
                filter: Filter { geometry, media: Media::new(wall, cake, ash), ends: Ends::None },
                zone: Zone { soot: Profile::new(&knots).unwrap(), ..Zone::whole(deposits) },
                flow: FlowState::new(v("mass_flow_kg_s"), v("temperature_k"), v("outlet_pressure_pa"))
                    .unwrap(),
                options: Options {
                    momentum: v("momentum"),
                    compressible: v("compressible") == 1.0,
                    intervals: None,
                },
                drop: v("drop_pa"),
                velocity: (v("wall_velocity_min_m_s"), v("wall_velocity_max_m_s")),
            }
        })
        .collect()
}

#[test]
fn reference_one_dimensional_solution_agrees_with_scipy_within_1e_6() {
    let cases = cases();
    assert!(cases.len() >= 20, "only {} cases", cases.len());
    let mut worst = 0.0_f64;
    for c in cases {
        let s =
            channel::solve(&c.filter, std::slice::from_ref(&c.zone), &Gas::exhaust(), &c.flow, &c.options)
                .unwrap();
        let off = s.total() / c.drop - 1.0;
        println!("{:24} {:12.5} Pa, SciPy {:12.5}, off {off:+.1e}", c.id, s.total(), c.drop);
        worst = worst.max(off.abs());
        assert!(off.abs() < 1e-6, "{}: {} Pa, SciPy {} Pa", c.id, s.total(), c.drop);
        // Extremes inside the channel fall between nodes, so they are compared on a fine mesh.
        let fine = Options { intervals: Some(600), ..c.options };
        let s = channel::solve(&c.filter, &[c.zone], &Gas::exhaust(), &c.flow, &fine).unwrap();
        let low = s.zones[0].wall_velocity.iter().copied().fold(f64::INFINITY, f64::min);
        let high = s.zones[0].wall_velocity.iter().copied().fold(0.0, f64::max);
        assert!((low / c.velocity.0 - 1.0).abs() < 1e-4, "{}: {low} {}", c.id, c.velocity.0);
        assert!((high / c.velocity.1 - 1.0).abs() < 1e-4, "{}: {high} {}", c.id, c.velocity.1);
    }
    println!("worst {worst:.1e}");
}

#[test]
fn reference_closed_form_stays_near_scipy() {
    // What leaving out axial momentum, compressibility along the channel and the shape of the deposits
    // costs; the bound is the one stated in the documentation for even deposits.
    for c in cases().into_iter().filter(|c| c.zone.soot == Profile::new(&[1.0, 1.0]).unwrap()) {
        let d = pressure::closed_form(&c.filter, &c.zone.deposits, &Gas::exhaust(), &c.flow, Density::Mean)
            .unwrap();
        let off = d.total() / c.drop - 1.0;
        println!("{:24} closed form off {:+.2} %", c.id, 100.0 * off);
        assert!(off.abs() < 0.055, "{}: {off}", c.id);
    }
}
