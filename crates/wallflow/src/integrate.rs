//! Dormand and Prince's embedded pair of orders 5 and 4 with step control, for the burning models.

use crate::error::Error;

/// How precisely and in which steps.
pub(crate) struct Control {
    /// Longest step, s.
    pub longest: f64,
    /// Error allowed per step in units of `scale` of each component.
    pub tolerance: f64,
    /// Most steps.
    pub most: usize,
}

const A: [&[f64]; 6] = [
    &[1.0 / 5.0],
    &[3.0 / 40.0, 9.0 / 40.0],
    &[44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0],
    &[19372.0 / 6561.0, -25360.0 / 2187.0, 64448.0 / 6561.0, -212.0 / 729.0],
    &[9017.0 / 3168.0, -355.0 / 33.0, 46732.0 / 5247.0, 49.0 / 176.0, -5103.0 / 18656.0],
    &[35.0 / 384.0, 0.0, 500.0 / 1113.0, 125.0 / 192.0, -2187.0 / 6784.0, 11.0 / 84.0],
];
const E: [f64; 7] =
    [71.0 / 57600.0, 0.0, -71.0 / 16695.0, 71.0 / 1920.0, -17253.0 / 339200.0, 22.0 / 525.0, -1.0 / 40.0];

/// Integrates dy/dt = f(y) from `start` to `end`. `observe` sees (and may correct) every accepted state.
pub(crate) fn integrate(
    y: &mut Vec<f64>,
    (start, end): (f64, f64),
    scale: &[f64],
    control: &Control,
    mut f: impl FnMut(&[f64], &mut [f64]),
    mut observe: impl FnMut(f64, &mut [f64]),
) -> Result<(), Error> {
    let n = y.len();
    let mut slopes: Vec<Vec<f64>> = vec![vec![0.0; n]; 7];
    let mut next = vec![0.0; n];
    let (mut time, mut h) = (start, 0.01 * control.longest);
    let span = (end - start).max(1e-9);
    let mut steps = 0;
    while end - time > 1e-12 * span {
        steps += 1;
        if steps > control.most {
            return Err(Error::NoConvergence {
                what: "burning of soot (seconds left)",
                residual: end - time,
                wanted: 0.0,
                iterations: control.most,
            });
        }
        h = h.min(control.longest).min(end - time);
        f(y, &mut slopes[0]);
        for (stage, weights) in A.iter().enumerate() {
            for (i, value) in next.iter_mut().enumerate() {
                let push: f64 = weights.iter().zip(&slopes).map(|(w, s)| w * s[i]).sum();
                *value = y[i] + h * push;
            }
            f(&next, &mut slopes[stage + 1]);
        }
        let mut error = 0.0_f64;
        for (i, s) in scale.iter().enumerate() {
            let e: f64 = E.iter().zip(&slopes).map(|(w, s)| w * s[i]).sum();
            let e = (h * e / (s * control.tolerance)).abs();
            error = if e.is_finite() { error.max(e) } else { f64::INFINITY };
        }
        if error <= 1.0 {
            time += h;
            std::mem::swap(y, &mut next);
            observe(time, y);
        }
        h *= (0.9 * error.clamp(1e-10, 1e10).powf(-0.2)).clamp(0.2, 5.0);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_oscillator_keeps_its_phase() {
        let mut y = vec![1.0, 0.0];
        let control = Control { longest: 1.0, tolerance: 1e-9, most: 10_000 };
        let f = |y: &[f64], d: &mut [f64]| d.copy_from_slice(&[y[1], -y[0]]);
        integrate(&mut y, (0.0, 10.0), &[1.0, 1.0], &control, f, |_, _| ()).unwrap();
        assert!((y[0] - 10.0_f64.cos()).abs() < 1e-7 && (y[1] + 10.0_f64.sin()).abs() < 1e-7);
    }

    #[test]
    fn property_too_many_steps_are_an_error() {
        let control = Control { longest: 1e-3, tolerance: 1e-9, most: 10 };
        let mut y = vec![1.0];
        let r = integrate(&mut y, (0.0, 1.0), &[1.0], &control, |y, d| d[0] = -y[0], |_, _| ());
        assert!(matches!(r, Err(Error::NoConvergence { .. })));
    }
}
