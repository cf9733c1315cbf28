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
    let b = infer::balance::balance(&case, &infer::balance::AdditivePrior::default(), None);
    println!("balance {:?} {}", t0.elapsed(), b.log_evidence.len());
    let t0 = std::time::Instant::now();
    let h = infer::hypothesis::enumerate(|_| 0.03, 0.04);
    let p = infer::prior::Priors::new(&case, &[], true);
    let st = infer::summary::Standard::new(0.05, 1e5);
    let d = infer::posterior::PressureData::default();
    let q = infer::posterior::posterior(
        &h,
        &p,
        &d,
        &infer::signs::Signs::default(),
        &st,
        &|_| 0.0,
        infer::posterior::Effort::PRIOR,
    );
    println!("prior run {:?} hyps {} eff {}", t0.elapsed(), h.len(), q.effective);
    let t0 = std::time::Instant::now();
    let mut d = d;
    let rows: Vec<_> =
        (1..20).map(|i| (st.row(0.004 * f64::from(i), 500.0, 1.0), 0.1 * f64::from(i), 0.02)).collect();
    d.controller = Some(infer::summary::Block::from_rows(&rows));
    let q = infer::posterior::posterior(
        &h,
        &p,
        &d,
        &infer::signs::Signs::default(),
        &st,
        &|_| 0.0,
        infer::posterior::Effort::FULL,
    );
    println!("full run {:?} hyps {} eff {}", t0.elapsed(), h.len(), q.effective);
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
