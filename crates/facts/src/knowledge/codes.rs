//! Trouble codes as numbers that can be compared.

/// A trouble code as a number that can be compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Code {
    /// Letter and the four hex digits behind it.
    Five(char, u16),
    /// SAE J1939: suspect parameter and failure mode.
    Spn(u32, u8),
}

impl Code {
    pub(super) fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        if let Some((spn, fmi)) = text.split_once('/') {
            return Some(Self::Spn(spn.trim().parse().ok()?, fmi.trim().parse().ok()?));
        }
        let code = text.split_once('-').map_or(text, |(c, _)| c);
        let letter = code.chars().next()?.to_ascii_uppercase();
        let digits = code.get(letter.len_utf8()..)?;
        let hex = digits.len() == 4 && digits.chars().all(|c| c.is_ascii_hexdigit());
        (hex && "PCBU".contains(letter)).then_some(())?;
        Some(Self::Five(letter, u16::from_str_radix(digits, 16).ok()?))
    }
}

/// A code, or a range of codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum CodeSpan {
    Five(char, u16, u16),
    Spn(u32, u8, u8),
}

impl CodeSpan {
    pub(super) fn parse(text: &str) -> Option<Self> {
        if let Some((spn, fmi)) = text.split_once('/') {
            let (from, to) = fmi.split_once('-').unwrap_or((fmi, fmi));
            let (from, to) = (from.parse().ok()?, to.parse().ok()?);
            return (from <= to).then_some(Self::Spn(spn.parse().ok()?, from, to));
        }
        let (from, to) = text.split_once('-').unwrap_or((text, text));
        match (Code::parse(from)?, Code::parse(to)?) {
            (Code::Five(a, from), Code::Five(b, to)) if a == b && from <= to => Some(Self::Five(a, from, to)),
            _ => None,
        }
    }

    pub(super) fn holds(self, code: Code) -> bool {
        match (self, code) {
            (Self::Five(letter, from, to), Code::Five(l, n)) => l == letter && (from..=to).contains(&n),
            (Self::Spn(spn, from, to), Code::Spn(s, f)) => s == spn && (from..=to).contains(&f),
            _ => false,
        }
    }
}
