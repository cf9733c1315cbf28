//! Gas properties for the truth: interpolated tables instead of fitted formulas, so that the truth does
//! not share the fits of the room that is tested with it.

/// Universal gas constant, J/(mol K) (CODATA 2018, exact).
const R: f64 = 8.314_462_618;
/// Molar mass of lean diesel exhaust, kg/mol (stoichiometry at excess ratio 2).
const M: f64 = 28.881e-3;

/// Temperature K, viscosity 1e-6 Pa s, heat capacity J/(kg K): exhaust at excess ratio 2, computed with
/// Cantera 3.2.0 (gri30, mixture-averaged).
const TABLE: [(f64, f64, f64); 8] = [
    (300.0, 17.564, 1037.4),
    (400.0, 21.940, 1057.7),
    (500.0, 25.866, 1079.5),
    (600.0, 29.473, 1104.0),
    (700.0, 32.838, 1131.0),
    (800.0, 36.013, 1159.6),
    (900.0, 39.034, 1187.8),
    (1000.0, 41.925, 1212.5),
];

fn interpolate(temperature: f64, column: impl Fn(&(f64, f64, f64)) -> f64) -> f64 {
    // Quadratic through three neighbours: 0.1 % on the table's own points left out.
    let i = (((temperature - 300.0) / 100.0).round() as isize).clamp(1, TABLE.len() as isize - 2) as usize;
    let s = ((temperature - TABLE[i].0) / 100.0).clamp(-2.0, 2.0);
    let (a, b, c) = (column(&TABLE[i - 1]), column(&TABLE[i]), column(&TABLE[i + 1]));
    b + 0.5 * s * (c - a) + 0.5 * s * s * (a - 2.0 * b + c)
}

/// Dynamic viscosity, Pa s, at `temperature` K (200 to 1100).
#[must_use]
pub fn viscosity(temperature: f64) -> f64 {
    1e-6 * interpolate(temperature, |r| r.1)
}

/// Heat capacity, J/(kg K), at `temperature` K.
#[must_use]
pub fn heat_capacity(temperature: f64) -> f64 {
    interpolate(temperature, |r| r.2)
}

/// Density, kg/m3, at absolute `pressure` Pa and `temperature` K.
#[must_use]
pub fn density(pressure: f64, temperature: f64) -> f64 {
    pressure * M / (R * temperature)
}

/// Mean free path, m: (mu/p) sqrt(pi R T/(2 M)).
#[must_use]
pub fn mean_free_path(pressure: f64, temperature: f64) -> f64 {
    viscosity(temperature) / pressure * (std::f64::consts::FRAC_PI_2 * R * temperature / M).sqrt()
}

/// Factor by which slip raises the permeability of a medium with pores of `pore` m.
#[must_use]
pub fn slip(pore: f64, pressure: f64, temperature: f64) -> f64 {
    let kn = 2.0 * mean_free_path(pressure, temperature) / pore;
    1.0 + kn * (1.257 + 0.4 * (-1.1 / kn).exp())
}

#[cfg(test)]
mod tests {
    #[test]
    fn reference_mean_free_path() {
        // Exhaust at 1 atm: 62.2 nm at 25 C, 237 nm at 600 C (physics reference 1.4, there with a fitted
        // viscosity that is good to 1.8 %).
        assert!((super::mean_free_path(101_325.0, 298.15) / 62.2e-9 - 1.0).abs() < 0.025);
        assert!((super::mean_free_path(101_325.0, 873.15) / 237e-9 - 1.0).abs() < 0.025);
    }
}
