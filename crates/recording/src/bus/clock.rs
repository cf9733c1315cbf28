//! Time since the first frame, kept from running backwards.

/// A step back of more than this is a clock that was set, not frames out of order.
const CLOCK_SET_NS: i64 = 1_000_000_000;

#[derive(Default)]
pub(super) struct Clock {
    pub first_ns: Option<i64>,
    last_ns: i64,
    shift_ns: i64,
    pub sum_differences: bool,
    pub disordered: bool,
}

impl Clock {
    /// Time in ns since the first frame, and the step if the clock was set back.
    #[inline]
    pub fn at(&mut self, written_ns: i64) -> (i64, Option<i64>) {
        let Some(first) = self.first_ns else {
            self.first_ns = Some(written_ns);
            self.last_ns = written_ns;
            return (0, None);
        };
        let mut now = if self.sum_differences {
            self.last_ns.saturating_add(written_ns)
        } else {
            written_ns.saturating_add(self.shift_ns)
        };
        let mut step = None;
        if now < self.last_ns {
            let back = self.last_ns.saturating_sub(now);
            if back > CLOCK_SET_NS {
                self.shift_ns = self.shift_ns.saturating_add(back);
                now = self.last_ns;
                step = Some(back);
            } else {
                self.disordered = true;
            }
        }
        self.last_ns = self.last_ns.max(now);
        (now.saturating_sub(first).max(0), step)
    }

    pub fn duration_s(&self) -> f64 {
        self.first_ns.map_or(0.0, |first| self.last_ns.saturating_sub(first) as f64 / 1e9)
    }
}
