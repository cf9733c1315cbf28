//! Everything a recorder may send, as types that can hold nothing else.
//!
//! A vehicle is only read. There is no way to make a [`Frame`] for the wire but through [`Outgoing::frame`], and
//! [`Outgoing`] holds a [`Request`] to an [`Address`], or the flow control that a long answer needs. Requests are the
//! services 01, 02, 03, 06, 07, 09, 0A (SAE J1979), 19 02 and 22 (ISO 14229-1); nothing that clears, writes, resets,
//! drives an actuator, changes a session or asks for access can be written down.

use crate::frame::Frame;

/// A question that changes nothing in the vehicle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Request {
    /// Service 01: live data of one parameter.
    LiveData {
        /// Parameter.
        parameter: u8,
    },
    /// Service 02: a parameter of a freeze frame.
    FreezeFrame {
        /// Parameter.
        parameter: u8,
        /// Number of the frame; 0 is the only one most modules have.
        frame: u8,
    },
    /// Service 03: stored trouble codes.
    StoredCodes,
    /// Service 06: results of one on-board monitor.
    MonitorResults {
        /// Monitor.
        monitor: u8,
    },
    /// Service 07: pending trouble codes.
    PendingCodes,
    /// Service 09: vehicle information.
    VehicleInformation {
        /// Information type; 02 is the vehicle identification number.
        kind: u8,
    },
    /// Service 0A: permanent trouble codes.
    PermanentCodes,
    /// Service 19 sub-function 02: trouble codes by status.
    CodesByStatus {
        /// Status bits asked for.
        mask: u8,
    },
    /// Service 22: data by identifier.
    DataByIdentifier {
        /// Identifier.
        identifier: u16,
    },
}

/// The services a request can have: all of them only read.
pub const SERVICES: [u8; 9] = [0x01, 0x02, 0x03, 0x06, 0x07, 0x09, 0x0A, 0x19, 0x22];

impl Request {
    /// The message: service and what follows, with its length.
    fn message(self) -> ([u8; 3], usize) {
        match self {
            Request::LiveData { parameter } => ([0x01, parameter, 0], 2),
            Request::FreezeFrame { parameter, frame } => ([0x02, parameter, frame], 3),
            Request::StoredCodes => ([0x03, 0, 0], 1),
            Request::MonitorResults { monitor } => ([0x06, monitor, 0], 2),
            Request::PendingCodes => ([0x07, 0, 0], 1),
            Request::VehicleInformation { kind } => ([0x09, kind, 0], 2),
            Request::PermanentCodes => ([0x0A, 0, 0], 1),
            Request::CodesByStatus { mask } => ([0x19, 0x02, mask], 3),
            Request::DataByIdentifier { identifier } => {
                let [high, low] = identifier.to_be_bytes();
                ([0x22, high, low], 3)
            }
        }
    }

    /// The service byte.
    pub fn service(self) -> u8 {
        let ([service, ..], _) = self.message();
        service
    }
}

/// One module, or all of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Address(To);

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum To {
    /// 7E0 to 7E7.
    Short(u8),
    /// 18DAxxF1.
    Long(u8),
    /// 7DF.
    AllShort,
    /// 18DB33F1.
    AllLong,
}

/// Proof that the vehicle stands: the road speed was read as 0 not long ago. Only [`Standing::seen`] makes one, and it
/// is needed to ask all modules at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standing(());

/// How old a road speed may be to prove that the vehicle stands.
pub const STANDING_NS: i64 = 1_000_000_000;

impl Standing {
    /// Proof out of the last road speed and its age in nanoseconds; `None` if the vehicle moves or nothing is known.
    pub fn seen(speed_km_h: Option<f64>, age_ns: i64) -> Option<Self> {
        (speed_km_h == Some(0.0) && (0..=STANDING_NS).contains(&age_ns)).then_some(Standing(()))
    }
}

impl Address {
    /// The module 7E0 to 7E7 with 11-bit identifiers, by its number from 0 on.
    pub fn short(module: u8) -> Option<Self> {
        (module <= 7).then_some(Address(To::Short(module)))
    }

    /// The module with this address and 29-bit identifiers.
    pub fn long(module: u8) -> Self {
        Address(To::Long(module))
    }

    /// All modules of a vehicle that stands.
    pub fn all(extended: bool, _proof: Standing) -> Self {
        Address(if extended { To::AllLong } else { To::AllShort })
    }

    /// The module that answers with this identifier.
    pub fn of_answer(id: u32, extended: bool) -> Option<Self> {
        match (extended, id) {
            (false, 0x7E8..=0x7EF) => Self::short((id - 0x7E8) as u8),
            (true, _) if id & 0xFFFF_FF00 == 0x18DA_F100 => Some(Self::long(id as u8)),
            _ => None,
        }
    }

    /// True if it means one module.
    pub fn is_physical(self) -> bool {
        matches!(self.0, To::Short(_) | To::Long(_))
    }

    /// Identifier, and whether it has 29 bits.
    pub fn id(self) -> (u32, bool) {
        match self.0 {
            To::Short(n) => (0x7E0 | u32::from(n & 7), false),
            To::Long(n) => (0x18DA_00F1 | u32::from(n) << 8, true),
            To::AllShort => (0x7DF, false),
            To::AllLong => (0x18DB_33F1, true),
        }
    }
}

/// A frame that may go out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Outgoing {
    to: Address,
    what: What,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    Ask(Request),
    GoOn,
}

/// What fills a frame behind its message.
const PADDING: u8 = 0x55;

impl Outgoing {
    /// A request.
    pub fn ask(request: Request, to: Address) -> Self {
        Outgoing { to, what: What::Ask(request) }
    }

    /// The flow control that lets one module send the rest of a long answer; `None` to all modules at once.
    pub fn go_on(to: Address) -> Option<Self> {
        to.is_physical().then_some(Outgoing { to, what: What::GoOn })
    }

    /// The CAN frame: always eight bytes, a single frame or a flow control of ISO-TP.
    pub fn frame(self) -> Frame {
        let mut data = [PADDING; 8];
        match self.what {
            What::Ask(request) => {
                let (message, length) = request.message();
                let [first, second, third, fourth, ..] = &mut data;
                *first = length as u8;
                for (slot, byte) in [second, third, fourth].into_iter().zip(message).take(length) {
                    *slot = byte;
                }
            }
            What::GoOn => {
                let [kind, block, separation, ..] = &mut data;
                (*kind, *block, *separation) = (0x30, 0, 0);
            }
        }
        let (id, extended) = self.to.id();
        let mut frame = Frame { id, extended, ..Frame::default() };
        frame.set_data(&data);
        frame
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop here")]
    use super::*;

    /// Every request there is, to every address: nothing else can be built from outside this file.
    fn all() -> Vec<Outgoing> {
        let mut requests = vec![Request::StoredCodes, Request::PendingCodes, Request::PermanentCodes];
        for n in 0..=255u8 {
            requests.push(Request::LiveData { parameter: n });
            requests.push(Request::MonitorResults { monitor: n });
            requests.push(Request::VehicleInformation { kind: n });
            requests.push(Request::CodesByStatus { mask: n });
            for frame in 0..=255u8 {
                requests.push(Request::FreezeFrame { parameter: n, frame });
            }
        }
        requests.extend((0..=u16::MAX).map(|identifier| Request::DataByIdentifier { identifier }));
        let mut addresses: Vec<Address> = (0..=255).filter_map(Address::short).collect();
        addresses.extend((0..=255).map(Address::long));
        let proof = Standing::seen(Some(0.0), 0).unwrap();
        addresses.extend([Address::all(false, proof), Address::all(true, proof)]);
        let mut list: Vec<Outgoing> = addresses.iter().filter_map(|a| Outgoing::go_on(*a)).collect();
        for request in requests {
            // Every request once, and every address with a few of them: frame and identifier do not depend on each other.
            list.push(Outgoing::ask(request, addresses[0]));
        }
        for address in addresses {
            list.push(Outgoing::ask(Request::StoredCodes, address));
            list.push(Outgoing::ask(Request::LiveData { parameter: 0x0C }, address));
        }
        list
    }

    #[test]
    fn property_no_byte_goes_out_but_of_a_reading_service() {
        let mut seen = std::collections::BTreeSet::new();
        for outgoing in all() {
            let frame = outgoing.frame();
            let data = frame.data();
            assert_eq!(data.len(), 8);
            let physical = matches!((frame.extended, frame.id), (false, 0x7E0..=0x7E7))
                || frame.extended && frame.id & 0xFFFF_00FF == 0x18DA_00F1;
            let functional = matches!((frame.extended, frame.id), (false, 0x7DF) | (true, 0x18DB_33F1));
            assert!(physical || functional, "{:08X}", frame.id);
            if data[0] >> 4 == 3 {
                assert!(physical, "flow control to one module only");
                assert_eq!(data, [0x30, 0, 0, 0x55, 0x55, 0x55, 0x55, 0x55]);
                continue;
            }
            let length = usize::from(data[0]);
            assert!((1..=3).contains(&length));
            assert!(data[1 + length..].iter().all(|b| *b == 0x55));
            let (service, rest) = (data[1], &data[2..1 + length]);
            assert!(SERVICES.contains(&service), "{service:02X}");
            assert!(crate::uds::changing_service(service).is_none());
            match service {
                0x19 => assert_eq!((rest[0], rest.len()), (0x02, 2)),
                0x22 | 0x02 => assert_eq!(rest.len(), 2),
                0x03 | 0x07 | 0x0A => assert!(rest.is_empty()),
                _ => assert_eq!(rest.len(), 1),
            }
            seen.insert(service);
        }
        assert_eq!(seen.len(), SERVICES.len());
    }

    #[test]
    fn regress_all_modules_are_asked_of_a_standing_vehicle_only() {
        assert!(Standing::seen(Some(0.0), STANDING_NS).is_some());
        for (speed, age) in [(None, 0), (Some(1.0), 0), (Some(0.0), STANDING_NS + 1), (Some(0.0), -1)] {
            assert_eq!(Standing::seen(speed, age), None, "{speed:?} {age}");
        }
        assert_eq!(Address::short(8), None);
        let all = Address::all(false, Standing::seen(Some(0.0), 0).unwrap());
        assert!(Outgoing::go_on(all).is_none());
        assert_eq!(Address::of_answer(0x7E9, false), Address::short(1));
        assert_eq!(Address::of_answer(0x18DA_F110, true), Some(Address::long(0x10)));
        assert_eq!(Address::of_answer(0x123, false), None);
    }
}
