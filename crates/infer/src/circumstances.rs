//! What the description of a car and the way it was looked at say of a fault before anything is measured:
//! a tank it does not have cannot be filled wrongly.

use crate::hypothesis::is_additive;
use facts::FaultId;
use facts::case::Case;

/// Factor on the prior weight of a fault.
#[must_use]
pub fn factor(case: &Case, fault: FaultId) -> f64 {
    let recorded =
        if case.recording.is_empty() || shows_in_a_recording(fault) { 1.0 } else { SELDOM_RECORDED };
    recorded * described(case, fault)
}

/// Faults of fluids and book-keeping are found with scale and controller figures; who records flow and
/// pressure asks about filter, sensors or engine. Half as many of the former among recorded cars (expert
/// guess).
const SELDOM_RECORDED: f64 = 0.5;

fn shows_in_a_recording(fault: FaultId) -> bool {
    use FaultId as F;
    !is_additive(fault)
        && !matches!(fault, F::FilterModelNotReset | F::ForeignFluidInAus32Tank | F::Aus32InFuel)
}

fn described(case: &Case, fault: FaultId) -> f64 {
    match fault {
        FaultId::ForeignFluidInAus32Tank if case.car.has_aus32 == Some(false) => SLIP,
        // A model can be left unreset only where a filter was cleaned or changed.
        FaultId::FilterModelNotReset if is_first_filter(case) => SLIP,
        // Low-ash oils end at 0.5 to 0.8 % sulfated ash, others begin near 1 % (trade reference 5).
        FaultId::WrongEngineOil => match case.oil.sulfated_ash_percent {
            Some(ash) if ash <= 0.9 => 0.1,
            Some(_) => 4.0,
            None => 1.0,
        },
        _ => 1.0,
    }
}

/// One description in fifty is written down wrongly (expert guess).
const SLIP: f64 = 0.02;

fn is_first_filter(case: &Case) -> bool {
    case.filter_cleaned.is_empty()
        && case.filter_replaced.is_empty()
        && case.filter.cleaned_odometer_km.is_none()
        && case.filter.fitted_odometer_km.is_some_and(|km| km < 1000.0)
}
