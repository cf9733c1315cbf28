//! Vehicle identification numbers (ISO 3779; check digit of 49 CFR 565.15(c)).

/// What the structure of a vehicle identification number says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct VinCheck {
    /// 17 characters out of A-Z without I, O, Q and 0-9.
    pub well_formed: bool,
    /// Weighted sum of the characters.
    pub sum: u32,
    /// The check character the sum asks for.
    pub check: char,
    /// The ninth character is the check character. **European vehicles need not carry one**: false is a hint
    /// and never a reason to reject a number.
    pub check_matches: bool,
}

const WEIGHTS: [u32; 17] = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];

fn value(character: u8) -> Option<u32> {
    Some(u32::from(match character {
        b'0'..=b'9' => character - b'0',
        b'A'..=b'H' => character - b'A' + 1,
        b'J'..=b'N' => character - b'J' + 1,
        b'P' => 7,
        b'R' => 9,
        b'S'..=b'Z' => character - b'S' + 2,
        _ => return None,
    }))
}

/// Checks length, alphabet and check digit.
pub fn check(vin: &str) -> VinCheck {
    let bytes = vin.as_bytes();
    let values: Option<u32> =
        bytes.iter().zip(WEIGHTS).map(|(b, weight)| value(*b).map(|v| v * weight)).sum();
    let well_formed = bytes.len() == 17 && values.is_some();
    let sum = values.unwrap_or(0);
    let check = match sum % 11 {
        10 => 'X',
        n => char::from_digit(n, 10).unwrap_or('0'),
    };
    VinCheck { well_formed, sum, check, check_matches: well_formed && vin.chars().nth(8) == Some(check) }
}

/// Takes a number out of raw bytes: padding at both ends is cut; `None` if what remains is not well formed.
pub(crate) fn from_bytes(bytes: &[u8]) -> Option<&str> {
    let text = std::str::from_utf8(bytes).ok()?.trim_matches(|c: char| c == '\0' || c.is_whitespace());
    check(text).well_formed.then_some(text)
}
