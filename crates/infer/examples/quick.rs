//! Timing.
use facts::case::*;
fn main() {
    let t = r#"
schema = "sootwright.case/1"
[car]
category = "M1"
displacement_l = 1.6
odometer_km = 142000
consumption_l_per_100km = 6.2
[filter]
material = "silicon_carbide"
diameter_mm = 143.8
length_mm = 203
cell_density_cpsi = 200
wall_thickness_mm = 0.36
fitted_odometer_km = 0
[sensor]
plumbing = "two_hoses"
[[reading]]
point = "key_on"
quantity = "differential_pressure"
value = 0.02
unit = "kPa"
[[reading]]
point = "hot_idle"
quantity = "differential_pressure"
value = 1.1
unit = "kPa"
[[reading]]
point = "held"
engine_speed_rpm = 2500
quantity = "differential_pressure"
value = 5.2
unit = "kPa"
[[reading]]
quantity = "distance_since_regeneration"
value = 620
unit = "km"
"#;
    let case: Case = toml::from_str(t).unwrap();
    let k = facts::Knowledge::built_in();
    let t0 = std::time::Instant::now();
    let a = infer::assess(&infer::Evidence { case: &case, recordings: &[], knowledge: k });
    println!("{:?}", t0.elapsed());
    println!("{:#?}", a.filter);
    for s in a.fault_sets.iter().take(8) {
        println!("{:?} {:.3}", s.faults, s.probability);
    }
    println!("told {} missing {:?}", a.fault_set_told, a.missing);
    for t in a.plain.iter().chain(&a.why).chain(&a.problems) {
        println!("{t:?}");
    }
    let p = &a.plot;
    for b in p.fitted.iter().step_by(6) {
        println!("{b:?}");
    }
    println!("{:?}", p.points);
}
