//! An invented workshop: people, cars with their lives, containers on the shelf, and how far each car's job is.
//!
//! Everything is invented and made from a seed. What becomes of it (facts in records, steps ticked under their
//! interlocks) is the business of whoever fills a bench with it.

use crate::batch::{Session, generate};
use crate::lives::{GeneratedVisit, generate_of};
use facts::case::{Case, Metal, ReservoirKind, Role};

/// How far a car's job is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stage {
    /// Handed over so many days ago.
    Closed {
        /// Days.
        days_ago: u32,
    },
    /// Taken in, nothing read yet.
    Fresh,
    /// Readings are taken.
    Read,
    /// The quote is agreed, the plan begun, up to this step.
    Working {
        /// The step that is open.
        until: &'static str,
    },
    /// A wrong fluid is suspected.
    Locked,
}

/// A car of the workshop.
#[derive(Debug, Clone)]
pub struct WorkshopCar {
    /// Plate.
    pub plate: String,
    /// The car in words.
    pub words: &'static str,
    /// Owner.
    pub owner: &'static str,
    /// Telephone.
    pub contact: &'static str,
    /// Complaint, word for word.
    pub complaint: &'static str,
    /// What we are told about it at this visit.
    pub now: Visit,
    /// How far its job is.
    pub stage: Stage,
    /// Visits before this one, the earliest first, each with how many days before it.
    pub earlier: Vec<(u32, Visit)>,
}

/// What we are told at a visit.
#[derive(Debug, Clone)]
pub struct Visit {
    /// The case.
    pub case: Case,
    /// Its recordings: file name and bytes.
    pub files: Vec<(String, Vec<u8>)>,
}

/// A container on the shelf.
#[derive(Debug, Clone, PartialEq)]
pub struct Container {
    /// Fluid by its identifier.
    pub fluid: &'static str,
    /// Lot.
    pub lot: &'static str,
    /// Days until its last day of use; below zero: over.
    pub days_left: i32,
    /// Content, mL.
    pub volume_ml: f64,
}

/// The workshop.
#[derive(Debug, Clone)]
pub struct Workshop {
    /// Name on papers.
    pub name: &'static str,
    /// Telephone on papers.
    pub phone: &'static str,
    /// People who sign.
    pub people: [&'static str; 3],
    /// Cars.
    pub cars: Vec<WorkshopCar>,
    /// Containers.
    pub shelf: Vec<Container>,
}

/// Concentrate that most of the invented cars take.
pub const FLUID: &str = "concentrate-cerium-iron";
/// Seed of the cases.
const SEED: u64 = 614;

const WORDS: [(&str, &str, &str, &str); 12] = [
    (
        "grey estate, 2.0 diesel",
        "A. Lindqvist",
        "0555 01 20 31",
        "Message about additive since Friday. It drives as ever.",
    ),
    (
        "silver carrier, 1.6 diesel",
        "Brook Bakery",
        "0555 01 77 02",
        "Lamp with the dots came on Monday on the way to the market. It pulls like it has a trailer.",
    ),
    ("blue van, 2.2 diesel", "P. Okonjo", "0555 01 48 15", "Engine lamp, and it goes no faster than 80."),
    (
        "red hatchback, 1.6 diesel",
        "M. Sarrazin",
        "0555 01 63 90",
        "My son filled something in the blue hole, or the other one. I do not know.",
    ),
    ("green saloon, 2.0 diesel", "T. Varga", "0555 01 10 07", "The lamp comes back a week after each time."),
    (
        "white pick-up, 2.5 diesel",
        "Hollow Farm",
        "0555 01 91 44",
        "Uses more than it did, and smells hot when I park.",
    ),
    (
        "black estate, 2.0 diesel",
        "R. Amsel",
        "0555 01 35 26",
        "Service is due, and the message with the bottle.",
    ),
    (
        "yellow van, 1.6 diesel",
        "Post of the Vale",
        "0555 01 58 80",
        "Short rounds all day, lamp on twice this month.",
    ),
    ("brown saloon, 2.2 diesel", "E. Duarte", "0555 01 29 13", "Shakes at idle and the fan runs on."),
    (
        "orange carrier, 2.0 diesel",
        "Tile and Stone",
        "0555 01 84 61",
        "Bought used. Nobody knows when it was filled.",
    ),
    (
        "navy hatchback, 1.6 diesel",
        "J. Moreau",
        "0555 01 72 38",
        "Message gone, came again after refuelling.",
    ),
    (
        "olive estate, 2.5 diesel",
        "K. Brandvold",
        "0555 01 06 59",
        "It stands much. The lamp asked, I had no time to drive.",
    ),
];

/// The stages of the cars that are in the workshop now; the others were here over the year.
const NOW: [Stage; 6] = [
    Stage::Working { until: "leak_wait" },
    Stage::Fresh,
    Stage::Read,
    Stage::Locked,
    Stage::Working { until: "fill" },
    Stage::Working { until: "verify" },
];

/// The workshop, always the same.
#[must_use]
pub fn workshop() -> Workshop {
    let mut cars = Vec::new();
    let (mut index, mut life) = (0, 0);
    for (n, (words, owner, contact, complaint)) in WORDS.into_iter().enumerate() {
        let stage =
            NOW.get(n).copied().unwrap_or(Stage::Closed { days_ago: 12 + 31 * (n as u32).saturating_sub(6) });
        let plate = plate(n);
        if matches!(stage, Stage::Closed { .. }) {
            // Cars that come every year: three visits.
            if let Some((now, earlier)) = lived(&mut life) {
                cars.push(WorkshopCar { plate, words, owner, contact, complaint, now, stage, earlier });
            }
            continue;
        }
        // Cars with a pouch and a history, so that there is something to fill and to balance.
        let made = loop {
            let session = if n == 2 { Session::Workshop } else { Session::Typed };
            let made = generate(SEED, index, Some(session));
            index += 1;
            let c = &made.case;
            let usable = c.reservoir.kind == Some(ReservoirKind::Pouch)
                && c.car.odometer_km.is_some()
                && !c.reading.is_empty();
            if usable || index > 400 {
                break made;
            }
        };
        let mut now = Visit { case: told(&made.case, stage == Stage::Read), files: made.files };
        if stage == Stage::Fresh {
            now.case.reading.clear();
            now.case.observation.clear();
            now.case.fault_memory.clear();
        }
        let earlier = Vec::new();
        cars.push(WorkshopCar { plate, words, owner, contact, complaint, now, stage, earlier });
    }
    Workshop {
        name: "Ostermill Yard",
        phone: "0555 01 44 20",
        people: ["Ines K.", "Tobias R.", "Maud B."],
        cars,
        shelf: vec![
            Container { fluid: FLUID, lot: "26-0914", days_left: -9, volume_ml: 1000.0 },
            Container { fluid: FLUID, lot: "26-1103", days_left: 210, volume_ml: 20_000.0 },
            Container { fluid: "concentrate-cerium", lot: "C-4471", days_left: 64, volume_ml: 2000.0 },
            Container { fluid: "concentrate-iron", lot: "FE-208", days_left: 330, volume_ml: 2000.0 },
            Container { fluid: "aus-32", lot: "U-7730", days_left: 150, volume_ml: 10_000.0 },
        ],
    }
}

/// Distance of a day, km, from which the time between two visits is made.
const KM_A_DAY: f64 = 45.0;

/// The next life that has a pouch: the files of its last visit, its case, and the visits before it.
fn lived(next: &mut usize) -> Option<(Visit, Vec<(u32, Visit)>)> {
    let visits = (0..60).find_map(|_| {
        let life = generate_of(SEED, *next, Some(3));
        *next += 1;
        let pouch = |v: &GeneratedVisit| v.case.reservoir.kind == Some(ReservoirKind::Pouch);
        life.visits.iter().all(pouch).then_some(life.visits)
    })?;
    let visits = visits.into_iter().map(|v| Visit { case: told(&undated(v.case), true), files: v.files });
    let mut visits: Vec<Visit> = visits.collect();
    let last = visits.pop()?;
    let km = |v: &Visit| v.case.car.odometer_km.unwrap_or_default();
    let days = |v: &Visit| ((km(&last) - km(v)) / KM_A_DAY) as u32 + 1;
    let earlier = visits.into_iter().map(|v| (days(&v), v)).collect();
    Some((last, earlier))
}

/// Without the dates of the simulator: the records have their own.
fn undated(mut case: Case) -> Case {
    for r in &mut case.reading {
        r.time = None;
    }
    for r in &mut case.recording {
        r.time = None;
    }
    case
}

fn plate(n: usize) -> String {
    let pairs = ["TR", "SD", "BN", "LE", "FA", "MO", "KA", "VE", "OS", "HU", "PI", "DA"];
    let pair = pairs.get(n).copied().unwrap_or("XX");
    format!("{pair} {} {}", 152 + 77 * n, char::from(b'A' + (n as u8 * 7) % 26))
}

/// What the workshop is told: the generated case with the fluid named, an empty weight, and readings marked as taken
/// before the work; with its recordings or without.
fn told(made: &Case, recorded: bool) -> Case {
    let mut case = made.clone();
    case.title = None;
    case.reservoir.car_type = None;
    case.reservoir.fluid = Some(FLUID.into());
    case.reservoir.capacity_l.get_or_insert(2.1);
    case.reservoir.tare_g.get_or_insert(230.0);
    if case.reservoir.metals.is_empty() {
        case.reservoir.metals = vec![Metal { symbol: "Ce".into(), mass_share: None }];
    }
    for r in &mut case.reading {
        r.role = Some(Role::Before);
    }
    for r in &mut case.recording {
        r.role = Some(Role::Before);
    }
    if !recorded {
        case.recording.clear();
    }
    case
}

/// A picture for the places where a photo is owed: stripes and a rim, nothing of anybody.
#[must_use]
pub fn picture(shade: u8) -> Vec<u8> {
    use std::io::Write as _;
    let (width, height) = (320_usize, 240_usize);
    let mut rows = Vec::with_capacity((width + 1) * height);
    for y in 0..height {
        rows.push(0);
        for x in 0..width {
            let rim = (40..280).contains(&x) && (30..210).contains(&y);
            let stripe = (x + y) % 24 < 3;
            rows.push(match (rim, stripe) {
                (true, true) => shade / 2,
                (true, false) => shade,
                (false, _) => 238,
            });
        }
    }
    let mut packed = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
    // Writing into memory does not fail.
    let _ = packed.write_all(&rows);
    let packed = packed.finish().unwrap_or_default();
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut head = Vec::new();
    head.extend((width as u32).to_be_bytes());
    head.extend((height as u32).to_be_bytes());
    head.extend([8, 0, 0, 0, 0]);
    for (name, body) in [(*b"IHDR", head), (*b"IDAT", packed), (*b"IEND", Vec::new())] {
        let mut sum = flate2::Crc::new();
        sum.update(&name);
        sum.update(&body);
        out.extend((body.len() as u32).to_be_bytes());
        out.extend(name);
        out.extend(body);
        out.extend(sum.sum().to_be_bytes());
    }
    out
}
