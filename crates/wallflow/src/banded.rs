//! Linear equations with a banded matrix: the one shape the collocation of [`crate::channel`] needs.
//! General matrix libraries solve it densely, which costs a hundred times more here.

/// Entries below the diagonal.
const LOWER: usize = 3;
/// Entries above the diagonal.
const UPPER: usize = 4;
/// Stored width of a row: pivoting fills up to LOWER more entries above the diagonal.
const WIDTH: usize = 2 * LOWER + UPPER + 1;

/// Square matrix of order n with [`LOWER`] and [`UPPER`] side diagonals, and its right-hand side.
pub(crate) struct Banded {
    rows: Vec<[f64; WIDTH]>,
    right: Vec<f64>,
}

impl Banded {
    pub fn new(order: usize) -> Self {
        Self { rows: vec![[0.0; WIDTH]; order], right: vec![0.0; order] }
    }

    pub fn clear(&mut self) {
        self.rows.fill([0.0; WIDTH]);
    }

    /// Sets the entry at (row, column); the caller stays within the band.
    pub fn set(&mut self, row: usize, column: usize, value: f64) {
        debug_assert!(column + LOWER >= row && column <= row + UPPER);
        self.rows[row][column + LOWER - row] = value;
    }

    pub fn set_right(&mut self, row: usize, value: f64) {
        self.right[row] = value;
    }

    /// Gaussian elimination with row pivoting. The solution replaces the right-hand side. `None` when
    /// the matrix is singular or not finite.
    pub fn solve(&mut self) -> Option<&[f64]> {
        let n = self.rows.len();
        for k in 0..n {
            let last = (k + LOWER).min(n - 1);
            let size = |rows: &[[f64; WIDTH]], r: usize| rows[r][k + LOWER - r].abs();
            let mut pivot = k;
            for r in k + 1..=last {
                if size(&self.rows, r) > size(&self.rows, pivot) {
                    pivot = r;
                }
            }
            let head = size(&self.rows, pivot);
            if head == 0.0 || !head.is_finite() {
                return None;
            }
            let end = (k + UPPER + LOWER).min(n - 1);
            if pivot != k {
                for c in k..=end {
                    let (upper, lower) = (self.rows[k][c + LOWER - k], self.rows[pivot][c + LOWER - pivot]);
                    self.rows[k][c + LOWER - k] = lower;
                    self.rows[pivot][c + LOWER - pivot] = upper;
                }
                self.right.swap(k, pivot);
            }
            let top = self.rows[k];
            for r in k + 1..=last {
                let factor = self.rows[r][k + LOWER - r] / top[LOWER];
                if factor == 0.0 {
                    continue;
                }
                for c in k..=end {
                    self.rows[r][c + LOWER - r] -= factor * top[c + LOWER - k];
                }
                self.right[r] -= factor * self.right[k];
            }
        }
        for k in (0..n).rev() {
            let end = (k + UPPER + LOWER).min(n - 1);
            let mut sum = self.right[k];
            for c in k + 1..=end {
                sum -= self.rows[k][c + LOWER - k] * self.right[c];
            }
            self.right[k] = sum / self.rows[k][LOWER];
        }
        self.right.iter().all(|v| v.is_finite()).then_some(&self.right[..])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_banded_solution_satisfies_its_equations() {
        let n = 11;
        let entry = |r: usize, c: usize| {
            if c + LOWER < r || c > r + UPPER { 0.0 } else { ((r * 7 + c * 13) % 17) as f64 - 7.5 }
        };
        let wanted: Vec<f64> = (0..n).map(|i| (i as f64 - 4.0) * 0.3).collect();
        let mut m = Banded::new(n);
        for r in 0..n {
            for c in r.saturating_sub(LOWER)..=(r + UPPER).min(n - 1) {
                m.set(r, c, entry(r, c));
            }
            m.set_right(r, (0..n).map(|c| entry(r, c) * wanted[c]).sum());
        }
        for (got, want) in m.solve().unwrap().iter().zip(&wanted) {
            assert!((got - want).abs() < 1e-10, "{got} {want}");
        }
    }

    #[test]
    fn analytic_singular_matrix_is_refused() {
        assert!(Banded::new(4).solve().is_none());
    }
}
