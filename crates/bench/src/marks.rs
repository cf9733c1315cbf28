//! Shapes of states: a state is a word and a shape, colour comes third.

use maud::{Markup, html};

/// A state of something on the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Hands can work here.
    Now,
    /// A clock runs; so much of it is over, 0 to 1.
    Waiting(u8),
    /// An interlock does not hold.
    Held,
    /// Still to come.
    ToCome,
    /// Done and signed.
    Done,
    /// A proof item that is still asked for.
    Wanted,
    /// Left out with a reason.
    NotDone,
    /// The facts do not tell.
    CannotTell,
    /// Harm.
    Stop,
}

impl Mark {
    /// The shape; its word stands beside it.
    #[must_use]
    pub fn drawn(self) -> Markup {
        let class = if matches!(self, Self::Held | Self::Stop) { "mk wax" } else { "mk" };
        html! {
            svg class=(class) viewBox="0 0 24 24" aria-hidden="true" {
                @match self {
                    Self::Now => {
                        path d="M5 2v20" stroke-width="2.6" {}
                        path class="f" d="M5 3l15 5.500L5 14z" {}
                    }
                    Self::Waiting(tenths) => {
                        circle cx="12" cy="12" r="10" {}
                        @if let Some(d) = pie(tenths) { path class="f" d=(d) {} }
                    }
                    Self::Held => path d="M4 2v20M20 2v20M1 9h22M1 15h22" stroke-width="2.4" {},
                    Self::ToCome => circle cx="12" cy="12" r="6.5" {},
                    Self::Done => {
                        circle class="f" cx="12" cy="12" r="11" {}
                        path class="p" d="M6.5 12.5l4 4 7-8.5" stroke-width="2.6" {}
                    }
                    Self::Wanted => rect x="3" y="3" width="18" height="18" stroke-dasharray="4 2.500" {},
                    Self::NotDone => {
                        circle cx="12" cy="12" r="9.5" {}
                        path d="M5.500 18.500L18.500 5.500" {}
                    }
                    Self::CannotTell => {
                        circle cx="12" cy="12" r="10" stroke-dasharray="1.5 3" {}
                        path d="M6 12c2-4 4-4 6 0s4 4 6 0" {}
                    }
                    Self::Stop => {
                        path class="f" d="M7.500 1h9L23 7.500v9L16.500 23h-9L1 16.500v-9z" {}
                        path class="p" d="M6 12h12" stroke-width="3.2" {}
                    }
                }
            }
        }
    }
}

/// The filled part of the waiting ring, in tenths.
fn pie(tenths: u8) -> Option<String> {
    match tenths.min(10) {
        0 => None,
        10 => Some("M12 5a7 7 0 1 1-.01 0z".into()),
        t => {
            let angle = f64::from(t) / 10.0 * std::f64::consts::TAU;
            let (x, y) = (12.0 + 7.0 * angle.sin(), 12.0 - 7.0 * angle.cos());
            Some(format!("M12 12V5A7 7 0 {} 1 {x:.2} {y:.2}z", u8::from(t > 5)))
        }
    }
}

/// The place in the rule of the job.
#[must_use]
pub fn graduation(state: Mark) -> Markup {
    html! {
        svg viewBox="0 0 18 18" aria-hidden="true" {
            @match state {
                Mark::Done => path d="M0 9h18" stroke="currentColor" stroke-width="4" {},
                Mark::Now => path d="M1 9L17 2v14z" fill="currentColor" {},
                _ => path d="M0 9h11" stroke="currentColor" stroke-width="1.2" {},
            }
        }
    }
}
