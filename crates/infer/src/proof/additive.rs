//! Proof that additive arrived: the reservoir on the scale before and after the fill.

use facts::case::{Case, Refill, ReservoirWeighed};

/// A fill on the scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FillByWeight {
    /// Odometer of the fill, km, where known.
    pub odometer_km: Option<f64>,
    /// Rise of the reading of the scale, g.
    pub rise_g: f64,
    /// What was poured by the row of the fill, g; none where neither mass nor volume and density are told.
    pub poured_g: Option<f64>,
    /// Expanded uncertainty of the difference of the two (or of the rise), coverage factor 2, g.
    pub expanded_g: f64,
    /// Whether rise and row agree within it; none without a row to compare with.
    pub agrees: Option<bool>,
}

/// A scale of a workshop without a stated uncertainty, g (common practice).
const SCALE_G: f64 = 5.0;
/// What stays in a jug or hose, and a volume read at a mark, relative (common practice).
const POURED: f64 = 0.03;
/// Rows of one stay lie within so many kilometres.
const STAY_KM: f64 = 20.0;

fn uncertainty(w: &ReservoirWeighed) -> f64 {
    // The tare is the same before and after and cancels.
    let step = w.resolution_g.unwrap_or(1.0) / 12_f64.sqrt();
    (w.uncertainty_g.unwrap_or(SCALE_G) / 2.0).hypot(step)
}

fn poured(case: &Case, r: &Refill) -> Option<f64> {
    let density = r.density_kg_per_m3.or(case.reservoir.density_kg_per_m3);
    r.mass_g.or_else(|| Some(r.volume_l? * density?))
}

/// Fills with a weighing before and one after them in the same stay. Rows at one odometer are put in order by time,
/// then by `order`; where that does not tell, the lighter weighing is the one before.
#[must_use]
pub fn fills(case: &Case) -> Vec<FillByWeight> {
    let km = |o: Option<f64>| o.or(case.car.odometer_km);
    let near = |a: Option<f64>, b: Option<f64>| match (km(a), km(b)) {
        (Some(a), Some(b)) => (a - b).abs() <= STAY_KM,
        _ => true,
    };
    let mut out = Vec::new();
    for r in case.refill.iter().filter(|r| r.reservoir_replaced != Some(true)) {
        let weighed: Vec<&ReservoirWeighed> = case
            .reservoir_weighed
            .iter()
            .filter(|w| near(w.odometer_km, r.odometer_km))
            .filter(|w| match (w.time, r.time) {
                (Some(a), Some(b)) => a.days_since(b).abs() <= 1.5,
                _ => true,
            })
            .collect();
        let side = |before: bool| {
            let placed = weighed.iter().copied().filter(|w| match (w.order, r.order) {
                (Some(a), Some(b)) => (a < b) == before,
                _ => true,
            });
            placed.reduce(|a, b| if (b.gross_g < a.gross_g) == before { b } else { a })
        };
        let (Some(a), Some(b)) = (side(true), side(false)) else { continue };
        if std::ptr::eq(a, b) {
            continue;
        }
        let rise_g = b.gross_g - a.gross_g;
        let poured_g = poured(case, r);
        let own = poured_g.map_or(0.0, |p| if r.mass_g.is_some() { SCALE_G / 2.0 } else { POURED * p });
        let expanded_g = 2.0 * uncertainty(a).hypot(uncertainty(b)).hypot(own);
        out.push(FillByWeight {
            odometer_km: km(r.odometer_km),
            rise_g,
            poured_g,
            expanded_g,
            agrees: poured_g.map(|p| (p - rise_g).abs() <= expanded_g),
        });
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(after_g: f64) -> Vec<FillByWeight> {
        let text = format!(
            "schema = \"sootwright.case/1\"\n[car]\nodometer_km = 120000\n[reservoir]\nkind = \"tank\"\n\
             density_kg_per_m3 = 900\n[[reservoir_weighed]]\ngross_g = 1400\norder = 1\n\
             [[refill]]\nvolume_l = 1.0\norder = 2\n[[reservoir_weighed]]\ngross_g = {after_g}\norder = 3\n"
        );
        fills(&facts::load_case(&text, "c").unwrap_or_else(|e| panic!("{e}")))
    }

    #[test]
    fn analytic_a_litre_poured_is_found_on_the_scale() {
        let f = told(2290.0);
        assert_eq!((f.len(), f[0].rise_g, f[0].poured_g, f[0].agrees), (1, 890.0, Some(900.0), Some(true)));
        assert_eq!(told(1900.0)[0].agrees, Some(false));
    }
}
