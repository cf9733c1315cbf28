//! Bus frames as candump text, compact and screen form.

use crate::draw::Draw;
use std::fmt::Write as _;

/// Form of the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// `(1900000000.000000) can0 7E8#0441050078`.
    Compact,
    /// ` (1900000000.000000)  can0  7E8   [8]  04 41 ...`.
    Screen,
}

/// Collects frames and writes them as text, in the order they are sent.
#[derive(Debug)]
pub struct Log {
    text: String,
    form: Form,
    start: f64,
    background: Vec<(u32, f64, f64)>,
    draw: Draw,
}

impl Log {
    /// An empty log whose clock begins at `start` s. `background` frames per second of other traffic are mixed in.
    #[must_use]
    pub fn new(form: Form, start: f64, background: f64, mut draw: Draw) -> Self {
        let ids = if background > 0.0 { 5 } else { 0 };
        let background = (0..ids)
            .map(|_| {
                let id = draw.uniform(256.0, 1500.0) as u32;
                let period = ids as f64 / background * draw.uniform(0.5, 2.0);
                (id, period, draw.uniform(0.0, period))
            })
            .collect();
        Self { text: String::new(), form, start, background, draw }
    }

    /// Writes a frame sent at `t` s. Ids above 0x7FF, and those given as `extended`, have 29 bits.
    pub fn frame(&mut self, t: f64, id: u32, extended: bool, data: &[u8]) {
        for k in 0..self.background.len() {
            while self.background[k].2 < t {
                let (id, period, at) = self.background[k];
                self.background[k].2 += period;
                let other: [u8; 8] = std::array::from_fn(|_| self.draw.byte());
                self.line(at, id, false, &other);
            }
        }
        self.line(t, id, extended, data);
    }

    fn line(&mut self, t: f64, id: u32, extended: bool, data: &[u8]) {
        let width = if extended { 8 } else { 3 };
        let time = self.start + t;
        // Writing into a String does not fail.
        let _ = match self.form {
            Form::Compact => write!(self.text, "({time:.6}) can0 {id:0width$X}#"),
            Form::Screen => write!(self.text, " ({time:.6})  can0  {id:0width$X}   [{}] ", data.len()),
        };
        for byte in data {
            let _ = match self.form {
                Form::Compact => write!(self.text, "{byte:02X}"),
                Form::Screen => write!(self.text, " {byte:02X}"),
            };
        }
        self.text.push('\n');
    }

    /// The text.
    #[must_use]
    pub fn finish(self) -> String {
        self.text
    }
}
