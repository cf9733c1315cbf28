//! UDS (ISO 14229-1): fault memory answers, negative responses, requests that change a vehicle.

/// One code of an answer to service 19.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UdsCode {
    /// Two bytes of code and one of failure type.
    pub bytes: [u8; 3],
    /// Status byte; `None` where the answer holds none.
    pub status: Option<u8>,
}

/// What an answer to service 19 holds.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum FaultMemory {
    /// Number of codes under a mask.
    Count {
        /// Status bits the module supports.
        mask: u8,
        /// Coding: 1 = ISO 14229-1.
        format: u8,
        /// How many.
        count: u16,
    },
    /// Codes with their status.
    Codes {
        /// Status bits the module supports; 0xFF where the answer has no mask.
        mask: u8,
        /// The codes.
        codes: Vec<UdsCode>,
    },
    /// A sub-function whose content is shown as bytes only.
    Other,
}

/// Names of the status bits, bit 0 first (after udsoncan 1.26.1).
pub const STATUS_BITS: [&str; 8] = [
    "testFailed",
    "testFailedThisOperationCycle",
    "pendingDTC",
    "confirmedDTC",
    "testNotCompletedSinceLastClear",
    "testFailedSinceLastClear",
    "testNotCompletedThisOperationCycle",
    "warningIndicatorRequested",
];

/// The names of the bits set in a status byte.
pub fn status_bits(status: u8) -> impl Iterator<Item = &'static str> {
    STATUS_BITS.into_iter().enumerate().filter(move |(n, _)| status >> n & 1 == 1).map(|(_, name)| name)
}

fn records<const N: usize>(bytes: &[u8], take: impl Fn(&[u8]) -> Option<UdsCode>) -> Option<Vec<UdsCode>> {
    let chunks = bytes.chunks_exact(N);
    if !chunks.remainder().is_empty() {
        return None;
    }
    chunks.map(take).filter(|c| c.is_none_or(|c| c.bytes != [0; 3])).collect()
}

fn code_status(record: &[u8]) -> Option<UdsCode> {
    match *record {
        [a, b, c, status] => Some(UdsCode { bytes: [a, b, c], status: Some(status) }),
        _ => None,
    }
}

/// Reads an answer to service 19, from the byte behind `59` on. `None` if the bytes do not come out even.
pub fn fault_memory(answer: &[u8]) -> Option<FaultMemory> {
    let (sub_function, rest) = answer.split_first()?;
    Some(match (sub_function & 0x7F, rest) {
        (0x01 | 0x07 | 0x11 | 0x12, [mask, format, high, low]) => {
            FaultMemory::Count { mask: *mask, format: *format, count: u16::from_be_bytes([*high, *low]) }
        }
        (0x02 | 0x0A..=0x0F | 0x13 | 0x15, [mask, rest @ ..]) => {
            FaultMemory::Codes { mask: *mask, codes: records::<4>(rest, code_status)? }
        }
        // Of extended data supported, mask and record number come first; of a readiness group, its numbers (from memory).
        (0x1A, [mask, _, rest @ ..]) | (0x56, [_, mask, _, _, rest @ ..]) => {
            FaultMemory::Codes { mask: *mask, codes: records::<4>(rest, code_status)? }
        }
        (0x17, [_, mask, rest @ ..]) => {
            FaultMemory::Codes { mask: *mask, codes: records::<4>(rest, code_status)? }
        }
        (0x08 | 0x09, [mask, rest @ ..]) => {
            let codes = records::<6>(rest, |r| r.get(2..).and_then(code_status))?;
            FaultMemory::Codes { mask: *mask, codes }
        }
        (0x04 | 0x06, [a, b, c, status, ..]) => FaultMemory::Codes {
            mask: 0xFF,
            codes: vec![UdsCode { bytes: [*a, *b, *c], status: Some(*status) }],
        },
        (0x42, [_group, mask, _severity, _format, rest @ ..]) => {
            let codes = records::<5>(rest, |r| r.get(1..).and_then(code_status))?;
            FaultMemory::Codes { mask: *mask, codes }
        }
        (0x55, [_group, mask, _format, rest @ ..]) => {
            FaultMemory::Codes { mask: *mask, codes: records::<4>(rest, code_status)? }
        }
        (0x01 | 0x02 | 0x07 | 0x0A..=0x0F | 0x11..=0x13 | 0x15 | 0x1A | 0x42 | 0x55 | 0x56, _) => {
            return None;
        }
        _ => FaultMemory::Other,
    })
}

/// What an identifier of service 22 holds, for those that the standard names (ISO 14229-1, from memory).
pub fn identifier_name(identifier: u16) -> Option<&'static str> {
    Some(match identifier {
        0xF187 => "spare part number",
        0xF188 => "software number",
        0xF18C => "serial number",
        0xF191 => "hardware number",
        0xF194 => "supplier's software number",
        0xF195 => "supplier's software version",
        _ => return None,
    })
}

/// Name of a negative response code (ISO 14229-1, names after udsoncan 1.26.1).
pub fn negative_name(code: u8) -> &'static str {
    match code {
        0x10 => "generalReject",
        0x11 => "serviceNotSupported",
        0x12 => "subFunctionNotSupported",
        0x13 => "incorrectMessageLengthOrInvalidFormat",
        0x14 => "responseTooLong",
        0x21 => "busyRepeatRequest",
        0x22 => "conditionsNotCorrect",
        0x24 => "requestSequenceError",
        0x31 => "requestOutOfRange",
        0x33 => "securityAccessDenied",
        0x35 => "invalidKey",
        0x36 => "exceedNumberOfAttempts",
        0x37 => "requiredTimeDelayNotExpired",
        0x78 => "responsePending",
        0x7E => "subFunctionNotSupportedInActiveSession",
        0x7F => "serviceNotSupportedInActiveSession",
        0x81 => "rpmTooHigh",
        0x82 => "rpmTooLow",
        0x83 => "engineIsRunning",
        0x84 => "engineIsNotRunning",
        0x85 => "engineRunTimeTooLow",
        0x86 => "temperatureTooHigh",
        0x87 => "temperatureTooLow",
        0x88 => "vehicleSpeedTooHigh",
        0x89 => "vehicleSpeedTooLow",
        0x8A => "throttlePedalTooHigh",
        0x8B => "throttlePedalTooLow",
        0x8C => "transmissionNotInNeutral",
        0x8D => "transmissionNotInGear",
        0x8F => "brakeSwitchNotClosed",
        0x90 => "shifterLeverNotInPark",
        0x91 => "torqueConverterClutchLocked",
        0x92 => "voltageTooHigh",
        0x93 => "voltageTooLow",
        _ => "reserved or maker's own",
    }
}

/// What a request does to the vehicle, for the services that change it; `None` for those that only read.
/// If one of them stands in a recording, values before and after may not be comparable.
pub fn changing_service(service: u8) -> Option<&'static str> {
    Some(match service {
        0x04 => "clears trouble codes, readiness and freeze frames",
        0x08 => "controls an on-board system",
        0x10 => "changes the diagnostic session",
        0x11 => "resets the module",
        0x14 => "clears trouble codes",
        0x27 | 0x29 => "asks for access to protected functions",
        0x28 => "switches normal communication on or off",
        0x2C => "defines data dynamically",
        0x2E | 0x3B => "writes data",
        0x2F | 0x30 => "drives an actuator",
        0x31 => "starts a routine, for example a forced regeneration or a counter reset",
        0x34..=0x38 => "transfers data or files into or out of the module",
        0x3D => "writes to memory",
        0x83 => "changes access timing",
        0x84 => "sends secured data",
        0x85 => "switches the setting of trouble codes on or off",
        0x86 => "sets up an event-driven response",
        0x87 => "changes the link",
        _ => return None,
    })
}
