//! Cases with a known answer, and the boundary values of the constructors.
#![allow(missing_docs, clippy::unwrap_used)]

use wallflow::channel::{self, Options, Profile, Zone};
use wallflow::geometry::{Cells, Geometry, cells_from_cpsi, round_face};
use wallflow::media::{Cake, Media, Wall};
use wallflow::{Density, Deposits, Ends, Error, Filter, FlowState, Gas, pressure};

const ATM: f64 = 101_325.0;

fn filter(ends: Ends) -> Filter {
    Filter {
        geometry: Geometry::new(Cells::from_cpsi_mil(200.0, 12.0).unwrap(), round_face(0.1438), 0.1524)
            .unwrap(),
        media: Media::default()
            .with_wall(Wall::new(5e-13).unwrap())
            .with_cake(Cake::new(1.9e-12, 90.0).unwrap()),
        ends,
    }
}

fn full(f: &Filter, zones: &[Zone], flow: &FlowState) -> Result<channel::Solution, Error> {
    channel::solve(f, zones, &Gas::exhaust(), flow, &Options::default())
}

#[test]
fn reference_conductivity_against_cantera() {
    // Cantera 3.2.0, gri30, mixture-averaged, lean exhaust at lambda 2, 101 325 Pa; bound 3 % as documented.
    let table = [
        (300.0, 0.02569),
        (400.0, 0.03255),
        (500.0, 0.03933),
        (600.0, 0.04601),
        (700.0, 0.05260),
        (800.0, 0.05906),
        (900.0, 0.06540),
        (1000.0, 0.07161),
    ];
    for (t, k) in table {
        let got = Gas::exhaust().conductivity(t);
        assert!((got / k - 1.0).abs() < 0.03, "{t} K: {got} {k}");
    }
}

#[test]
fn reference_viscosity_at_other_lambda() {
    // Fits to Cantera 3.2.0 at lambda 1.3 and 3: C, S.
    for (lambda, c, s) in [(1.3, 1.5417e-6, 178.87), (3.0, 1.5368e-6, 153.93)] {
        let want = c * 600.0_f64.powf(1.5) / (600.0 + s);
        assert!((Gas::exhaust_at(lambda).unwrap().viscosity(600.0) / want - 1.0).abs() < 1e-9);
    }
    // Much air makes air; molar mass as well.
    let thin = Gas::exhaust_at(1000.0).unwrap();
    assert!((thin.viscosity(600.0) / Gas::air().viscosity(600.0) - 1.0).abs() < 1e-3);
    assert!((thin.molar_mass() / Gas::air().molar_mass() - 1.0).abs() < 5e-3);
    assert!(matches!(Gas::exhaust_at(0.9), Err(Error::OutOfRange { .. })));
}

#[test]
fn analytic_thin_cake_is_load_over_density_and_area() {
    let f = filter(Ends::None);
    let thin = Deposits::new(0.01, 0.0, 0.0).unwrap().layers(&f.geometry, &f.media).unwrap();
    let want = 0.01 / (90.0 * f.geometry.filtration_area_per_volume());
    assert!((thin.soot_thickness() / want - 1.0).abs() < 1e-3);
}

#[test]
fn analytic_dead_flow_has_no_drop() {
    let f = filter(Ends::Reference);
    let d = Deposits::new(4.0, 10.0, 1.0).unwrap();
    let still = FlowState::new(0.0, 300.0, ATM).unwrap();
    let closed = pressure::closed_form(&f, &d, &Gas::exhaust(), &still, Density::Mean).unwrap();
    assert_eq!(closed.total(), 0.0);
    let s = full(&f, &[Zone { share: 0.4, ..Zone::whole(d) }, Zone { share: 0.6, ..Zone::whole(d) }], &still)
        .unwrap();
    assert_eq!(s.total(), 0.0);
    assert!(s.zones[0].wall_velocity.iter().all(|u| *u == 0.0));
}

#[test]
fn analytic_equal_zones_are_one_filter() {
    let f = filter(Ends::Given { contraction: 0.9, expansion: 0.5, cones: 3e3 });
    let d = Deposits::new(4.0, 10.0, 0.7).unwrap();
    let flow = FlowState::new(0.06, 573.15, ATM).unwrap();
    let one = full(&f, &[Zone::whole(d)], &flow).unwrap();
    let zones: Vec<Zone> =
        [0.2, 0.3, 0.5].into_iter().map(|share| Zone { share, ..Zone::whole(d) }).collect();
    let three = full(&f, &zones, &flow).unwrap();
    assert!((three.total() / one.total() - 1.0).abs() < 1e-9);
    assert!((three.zones[1].mass_flow / 0.018 - 1.0).abs() < 1e-9);
    // Cones: B rho Q² at the mean density.
    let rho = Gas::exhaust().density(ATM + one.filter / 2.0, 573.15);
    assert!((one.cones / (3e3 * 0.06 * 0.06 / rho) - 1.0).abs() < 1e-12);
}

#[test]
fn analytic_even_profile_is_no_profile() {
    let f = filter(Ends::None);
    let d = Deposits::new(5.0, 10.0, 0.3).unwrap();
    let flow = FlowState::new(0.06, 573.15, ATM).unwrap();
    let even = full(&f, &[Zone::whole(d)], &flow).unwrap().total();
    let flat = Profile::new(&[2.0; 6]).unwrap();
    let same = full(&f, &[Zone { soot: flat.clone(), ash: flat, ..Zone::whole(d) }], &flow).unwrap().total();
    assert!((same / even - 1.0).abs() < 1e-8);
}

#[test]
fn property_a_deposit_in_the_middle_of_some_channels_starves_the_wall_there() {
    // An odd ash deposit: a hump in a third of the channels, the same ash spread evenly in the others.
    let f = filter(Ends::Reference);
    let d = Deposits::new(2.0, 25.0, 0.0).unwrap();
    let flow = FlowState::new(0.06, 573.15, ATM).unwrap();
    let hump = Profile::new(&[0.2, 0.2, 0.2, 2.0, 5.0, 2.0, 0.2, 0.2, 0.2]).unwrap();
    let zones =
        [Zone { share: 1.0 / 3.0, ash: hump, ..Zone::whole(d) }, Zone { share: 2.0 / 3.0, ..Zone::whole(d) }];
    let s = full(&f, &zones, &flow).unwrap();
    let u = &s.zones[0].wall_velocity;
    let low = u.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(low < 0.6 * u[0], "{u:?}");
}

#[test]
fn analytic_errors_carry_the_two_values() {
    let f = filter(Ends::None);
    let flow = FlowState::new(0.05, 573.15, ATM).unwrap();
    let closed = |d: Deposits| pressure::closed_form(&f, &d, &Gas::exhaust(), &flow, Density::Mean);
    let full_of_soot = closed(Deposits::new(60.0, 0.0, 0.0).unwrap()).unwrap_err();
    assert!(
        matches!(full_of_soot, Error::ChannelFull { needed_m2, available_m2, .. } if needed_m2 > 0.99 * available_m2),
        "{full_of_soot}"
    );
    let plugged = closed(Deposits::new(0.0, 500.0, 1.0).unwrap()).unwrap_err();
    assert!(matches!(plugged, Error::PlugTooLong { plug_m, length_m } if plug_m > length_m), "{plugged}");
    assert!(matches!(Cells::from_cpsi_mil(200.0, 71.0), Err(Error::NoChannel { .. })));
    assert!(matches!(Deposits::new(f64::NAN, 0.0, 0.0), Err(Error::NotFinite { .. })));
    let text = Deposits::new(-1.0, 0.0, 0.0).unwrap_err().to_string();
    assert_eq!(text, "soot load is -1 kg/m3, outside 0 to 1000 kg/m3");
    // A part of the channel too full although the mean fits.
    let d = Deposits::new(25.0, 0.0, 0.0).unwrap();
    let end = Zone { soot: Profile::new(&[0.0, 2.0]).unwrap(), ..Zone::whole(d) };
    assert!(closed(d).is_ok());
    assert!(matches!(full(&f, &[end], &flow), Err(Error::ChannelFull { .. })));
}

#[test]
fn analytic_choked_flow_is_refused() {
    let f = filter(Ends::None);
    let flow = FlowState::new(5.0, 900.0, ATM).unwrap();
    let e = full(&f, &[Zone::whole(Deposits::NONE)], &flow).unwrap_err();
    assert!(matches!(e, Error::Choked { mach, limit, .. } if mach > limit), "{e}");
}

#[test]
fn analytic_notes_tell_what_lies_outside() {
    assert_eq!(FlowState::new(0.05, 573.15, ATM).unwrap().notes(), None);
    let hot = FlowState::new(0.05, 1300.0, ATM).unwrap().notes().unwrap();
    assert_eq!(
        hot.to_string(),
        "gas temperature is 1300 K, outside 250 to 1100 K for which the correlation was made"
    );
    assert!(filter(Ends::None).geometry.notes().is_empty());
    let tiny = Geometry::new(Cells::symmetric(cells_from_cpsi(600.0), 1e-4).unwrap(), 1e-3, 0.1).unwrap();
    assert_eq!(tiny.notes().len(), 3);
    // Boundary values belong to the range.
    assert!(FlowState::new(0.0, 150.0, 1e4).is_ok() && FlowState::new(10.0, 2500.0, 1e7).is_ok());
    assert!(Deposits::new(0.0, 1000.0, 1.0).is_ok());
}

#[test]
fn analytic_wall_fill_after_a_partial_burn_reads_low() {
    let wall = Wall::new(3e-13).unwrap().with_loading(4.0, 0.5).unwrap();
    let f = filter(Ends::Reference);
    let f = Filter { media: f.media.with_wall(wall), ..f };
    let flow = FlowState::new(0.05, 573.15, ATM).unwrap();
    let drop =
        |d: Deposits| pressure::closed_form(&f, &d, &Gas::exhaust(), &flow, Density::Mean).unwrap().total();
    let collected = Deposits::new(3.0, 0.0, 0.0).unwrap();
    let burnt_back = collected.with_wall_fill(0.0).unwrap();
    assert!(drop(burnt_back) < 0.85 * drop(collected));
}
