//! States by shape: a pennant, an octagon, a dotted ring. The words beside them say the same.

use infer::assessment::{Arg, Text};
use maud::{Markup, PreEscaped};

/// A state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Hands can work here.
    DoNow,
    /// Harm.
    Stop,
    /// The facts do not narrow it.
    CannotTell,
    /// A fact that is still asked for.
    Wanted,
    /// Left out, with a reason.
    NotDone,
    /// Speaks for the finding.
    For,
    /// Speaks against it.
    Against,
}

impl Mark {
    /// The wedge of a reason by its factor.
    pub fn of_factor(text: &Text) -> Self {
        match text.args.get("factor") {
            Some(Arg::Number(f, _)) if *f < 1.0 => Self::Against,
            Some(_) => Self::For,
            None => Self::NotDone,
        }
    }

    fn shape(self) -> &'static str {
        match self {
            Self::DoNow => r#"<path class="f" d="M3 3l19 9-19 9z"/>"#,
            Self::Stop => {
                r#"<path class="f" d="M7.5 1h9L23 7.5v9L16.5 23h-9L1 16.5v-9z"/><path class="p" stroke-width="3" d="M6 12h12"/>"#
            }
            Self::CannotTell => {
                r#"<circle cx="12" cy="12" r="10" stroke-dasharray="2 3"/><path d="M6.5 13c2-3.5 4-3.5 5.5-1s3.5 2.500 5.5-1"/>"#
            }
            Self::Wanted => r#"<path d="M3 3h18v18H3z" stroke-dasharray="4 3"/>"#,
            Self::NotDone => r#"<circle cx="12" cy="12" r="10"/><path d="M5 19L19 5"/>"#,
            Self::For => r#"<path class="f" d="M12 3l10 18H2z"/>"#,
            Self::Against => r#"<path d="M12 20L3 4h18z"/>"#,
        }
    }

    /// The mark, beside words that say the same.
    pub fn drawn(self) -> Markup {
        PreEscaped(format!(
            r#"<svg class="mk" viewBox="0 0 24 24" aria-hidden="true">{}</svg>"#,
            self.shape()
        ))
    }

    /// The mark inside a line of text.
    pub fn small(self) -> Markup {
        PreEscaped(format!(
            r#"<svg class="mk in" viewBox="0 0 24 24" aria-hidden="true">{}</svg>"#,
            self.shape()
        ))
    }
}
