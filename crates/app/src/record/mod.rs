//! `sootwright record`: writes down what a vehicle says, and asks it questions that change nothing.

mod bus;
#[cfg(unix)]
pub mod serial;
#[cfg(unix)]
pub mod vehicle;

use crate::cli::{Rate, Record};
use crate::failure::{Failure, Outcome};
use crate::text::Page;
use crate::words::{digits, say, say_with};
use crate::{args, print};
use bus::{Bus, Received, now_ns};
use recording::Quantity as Q;
use recording::live::slcan::BitRate;
use recording::live::{Recorder, candump_line};
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// How long the loop waits for a frame before it looks whether a request is due.
const TICK: Duration = Duration::from_millis(4);
/// Lines wait at most so long before they are on the disk.
const KEEP_AT_MOST: Duration = Duration::from_millis(250);
/// How long a last answer is waited for.
const LAST_ANSWER: Duration = Duration::from_millis(1500);
/// Without an answer to so many requests the other width of identifiers is tried.
const TRIES: u64 = 4;

/// Quantities shown while recording, the first six that are there.
const SHOWN: [Q; 12] = [
    Q::EngineSpeed,
    Q::VehicleSpeed,
    Q::FilterDifferentialPressure,
    Q::IntakeAirMassFlow,
    Q::ExhaustMassFlow,
    Q::FilterInletTemperature,
    Q::ExhaustTemperature,
    Q::FilterOutletTemperature,
    Q::RegenerationTrigger,
    Q::IntakeManifoldPressure,
    Q::EngineLoad,
    Q::CoolantTemperature,
];

fn rate(rate: Rate) -> BitRate {
    match rate {
        Rate::K125 => BitRate::K125,
        Rate::K250 => BitRate::K250,
        Rate::K500 => BitRate::K500,
        Rate::M1 => BitRate::M1,
    }
}

/// Opens the way to the vehicle.
fn open(order: &Record) -> Result<Box<dyn Bus>, Failure> {
    if let Some(path) = &order.serial {
        let name = path.display().to_string();
        #[cfg(unix)]
        {
            let line = serial::Serial::open(path, order.baud, rate(order.rate), order.listen);
            return line.map(|l| Box::new(l) as Box<dyn Bus>).map_err(|e| lost(&name, &e));
        }
        #[cfg(not(unix))]
        return Err(Failure::Usage(say_with("error-record-serial", &args! { "line" => name })));
    }
    let name = order.interface.clone().unwrap_or_default();
    #[cfg(all(target_os = "linux", feature = "socketcan"))]
    return bus::kernel::Interface::open(&name)
        .map(|i| Box::new(i) as Box<dyn Bus>)
        .map_err(|e| lost(&name, &e));
    #[cfg(not(all(target_os = "linux", feature = "socketcan")))]
    Err(Failure::Usage(say_with("error-record-interface", &args! { "interface" => name })))
}

fn lost(name: &str, why: &io::Error) -> Failure {
    Failure::Refused(say_with("error-record-lost", &args! { "line" => name, "why" => why.to_string() }))
}

/// Runs the command.
pub fn run(order: &Record) -> Result<Outcome, Failure> {
    let mut page = Page::default();
    page.warning(&say("record-passenger"));
    page.line(&say(if order.listen { "record-listens" } else { "record-reads-only" }));
    let path = order.out.clone().unwrap_or_else(|| {
        // Colons are no part of a file's name everywhere.
        PathBuf::from(format!("{}.log", crate::now().replace(':', "")))
    });
    let shown = path.display().to_string();
    page.line(&say_with("record-writes", &args! { "path" => shown.clone() }));
    print(&page.finish())?;
    let mut bus = open(order)?;
    // A recording is evidence: none is overwritten. Nor is an empty one left where there is no way to a vehicle.
    let file = File::create_new(&path).map_err(|e| {
        bus.close();
        Failure::write(&shown, &e)
    })?;
    let name = if order.serial.is_some() {
        "slcan0".to_owned()
    } else {
        order.interface.clone().unwrap_or_default()
    };
    let end = order.seconds.map(|s| Instant::now() + Duration::from_secs_f64(s.clamp(0.0, 1e6)));
    let mut run = Run {
        log: BufWriter::new(file),
        path: shown,
        interface: name,
        recorder: (!order.listen).then(|| Recorder::new(order.long_ids)),
        tried_both: order.long_ids,
        long_ids: order.long_ids,
        frames: 0,
        refused: 0,
        stopped: stopped(),
    };
    let result = run.until(&mut *bus, end);
    bus.close();
    let written = run.log.flush().map_err(|e| Failure::write(&run.path, &e));
    result.and(written)?;
    print(&run.summary())?;
    Ok(Outcome::Answered)
}

struct Run {
    log: BufWriter<File>,
    path: String,
    interface: String,
    recorder: Option<Recorder>,
    tried_both: bool,
    long_ids: bool,
    frames: u64,
    refused: u64,
    /// Ctrl-C was pressed.
    stopped: Arc<AtomicBool>,
}

/// Becomes true with the first Ctrl-C: the last answer is waited for, the file closed, the bus left. A second one ends the
/// program at once.
fn stopped() -> Arc<AtomicBool> {
    let stopped = Arc::new(AtomicBool::new(false));
    let told = Arc::clone(&stopped);
    std::thread::spawn(move || {
        // Without it Ctrl-C ends the program as the system does; what was written is kept but for a quarter of a second.
        let Ok(runtime) = tokio::runtime::Builder::new_current_thread().enable_all().build() else { return };
        runtime.block_on(async {
            if tokio::signal::ctrl_c().await.is_ok() {
                told.store(true, Ordering::Relaxed);
                if tokio::signal::ctrl_c().await.is_ok() {
                    std::process::exit(130);
                }
            }
        });
    });
    stopped
}

impl Run {
    fn until(&mut self, bus: &mut dyn Bus, mut end: Option<Instant>) -> Result<(), Failure> {
        let start = Instant::now();
        let (mut kept_since, mut shown_at) = (Instant::now(), Instant::now());
        loop {
            if self.stopped.load(Ordering::Relaxed) {
                let now = Instant::now();
                end = Some(end.map_or(now, |end| end.min(now)));
            }
            if let Some(late) = end.and_then(|end| Instant::now().checked_duration_since(end)) {
                // An answer under way is waited for: half a message helps nobody.
                let idle = self.recorder.as_mut().is_none_or(|r| {
                    r.stop();
                    r.is_idle()
                });
                if idle || late > LAST_ANSWER {
                    break;
                }
            }
            let interface = self.interface.clone();
            if let Some(outgoing) = self.recorder.as_mut().and_then(|r| r.next(now_ns())) {
                bus.send(outgoing).map_err(|e| lost(&interface, &e))?;
                self.write(now_ns(), &outgoing.frame(), true)?;
            }
            match bus.receive(TICK).map_err(|e| lost(&interface, &e))? {
                Some(Received::Frame(at, frame)) => {
                    self.frames += 1;
                    self.write(at, &frame, false)?;
                    if let Some(recorder) = &mut self.recorder {
                        recorder.received(at, &frame);
                    }
                }
                Some(Received::Refused) => self.refused += 1,
                None => {}
            }
            self.other_width();
            if kept_since.elapsed() >= KEEP_AT_MOST {
                self.log.flush().map_err(|e| Failure::write(&self.path, &e))?;
                kept_since = Instant::now();
            }
            if shown_at.elapsed() >= Duration::from_secs(1) {
                shown_at = Instant::now();
                print(&(self.live(start.elapsed().as_secs_f64()) + "\n"))?;
            }
        }
        Ok(())
    }

    /// Tries 29-bit identifiers when nothing answers to 11-bit ones.
    fn other_width(&mut self) {
        let silent =
            self.recorder.as_ref().is_some_and(|r| r.tally().answered == 0 && r.tally().silent >= TRIES);
        if silent && !self.tried_both {
            self.tried_both = true;
            self.long_ids = !self.long_ids;
            self.recorder = Some(Recorder::new(self.long_ids));
        }
    }

    fn write(&mut self, at_ns: i64, frame: &recording::Frame, sent: bool) -> Result<(), Failure> {
        let line = candump_line(&self.interface, at_ns, frame, sent);
        self.log.write_all(line.as_bytes()).map_err(|e| Failure::write(&self.path, &e))
    }

    /// One line of what is read at this moment.
    fn live(&self, seconds: f64) -> String {
        let mut values = Vec::new();
        if let Some(recorder) = &self.recorder {
            for wanted in SHOWN {
                for (quantity, instance, latest) in recorder.values().filter(|(q, _, _)| *q == wanted) {
                    let number = if instance > 0 { format!(" #{instance}") } else { String::new() };
                    let name = quantity.name().replace('_', " ");
                    let decimals = if latest.value.abs() < 100.0 { 1 } else { 0 };
                    let value = digits(latest.value, decimals);
                    values.push(format!("{name}{number} {value} {}", quantity.unit()));
                }
            }
        }
        values.truncate(6);
        say_with(
            if values.is_empty() { "record-live-none" } else { "record-live" },
            &args! { "seconds" => digits(seconds, 0), "frames" => self.frames, "values" => values.join(", ") },
        )
    }

    fn summary(&self) -> String {
        let mut page = Page::default();
        let tally = self.recorder.as_ref().map(Recorder::tally).unwrap_or_default();
        page.strong(&say_with(
            "record-done",
            &args! { "path" => self.path.clone(), "frames" => self.frames, "asked" => tally.asked, "answered" => tally.answered },
        ));
        if tally.silent + tally.refused + tally.busy + tally.bus_errors + self.refused > 0 {
            page.line(&say_with(
                "record-trouble",
                &args! {
                    "silent" => tally.silent,
                    "refused" => tally.refused,
                    "busy" => tally.busy,
                    "errors" => tally.bus_errors,
                    "adapter" => self.refused,
                },
            ));
        }
        if self.recorder.is_some() && tally.answered == 0 {
            page.warning(&say("record-nothing"));
        }
        page.finish()
    }
}

#[cfg(all(test, unix))]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may stop here")]
    use super::*;
    use demo::cycle::Style;
    use demo::ordered::{self, Order, SensorErrors, Trace, simulate};

    fn drive() -> Vec<u8> {
        let order = Order {
            seed: 7,
            heavy: false,
            soot_g_per_l: Some(3.0),
            ash_g_per_l: None,
            faults: Vec::new(),
            sensors: SensorErrors::default(),
            trace: Trace::Invented(Style::Town, 2.0),
            key_on_s: 2.0,
            cold: false,
            forms: vec![ordered::Form::Obd],
            made_by: "test".to_owned(),
        };
        let made = simulate(&order).expect("a drive");
        made.files.into_iter().find(|(name, _)| name.as_str() == "obd.log").expect("its log").1
    }

    /// The whole way: recorder, serial line, adapter, vehicle, and what was written decoded again.
    #[test]
    fn regress_a_simulated_vehicle_is_recorded_through_a_pseudo_terminal() {
        let vehicle = vehicle::Vehicle::learn(&drive()).expect("live data");
        let served = serial::Served::new(vehicle).expect("a pseudo-terminal");
        let path = PathBuf::from(&served.path);
        let until = Instant::now() + Duration::from_secs(10);
        let behind = std::thread::spawn(move || served.serve(Some(until)));
        std::thread::sleep(Duration::from_millis(200));
        let out = std::env::temp_dir().join(format!("sootwright-record-{}.log", std::process::id()));
        let _ = std::fs::remove_file(&out);
        let order = Record {
            serial: Some(path),
            interface: None,
            baud: 115_200,
            rate: Rate::K500,
            listen: false,
            long_ids: false,
            seconds: Some(6.0),
            out: Some(out.clone()),
        };
        run(&order).map_err(|e| e.to_string()).expect("a recording");
        let vehicle = behind.join().expect("the vehicle").expect("a line");
        assert!(vehicle.changing.is_empty(), "{:?}", vehicle.changing);
        let log = std::fs::read(&out).expect("what was written");
        std::fs::remove_file(&out).expect("removed");
        let r = recording::read_bytes("recorded", &log, &recording::Options::default());
        assert!(r.problems.is_empty(), "{:?}", r.problems);
        assert!(r.notes.iter().all(|n| n.kind != recording::NoteKind::ChangingRequest));
        let speed = r.signal(Q::EngineSpeed).expect("engine speed");
        assert!(speed.value.len() > 5, "{}", speed.value.len());
        let drop = r.signal(Q::FilterDifferentialPressure).expect("answers of several frames");
        assert!(drop.value.len() > 5);
        // Nothing that was sent is anything but a reading request or flow control.
        for line in String::from_utf8(log).expect("text").lines().filter(|l| l.ends_with(" T")) {
            let data = line.split('#').nth(1).expect("data");
            let service = u8::from_str_radix(&data[2..4], 16).expect("hex");
            assert!(
                data.starts_with("30") || recording::live::request::SERVICES.contains(&service),
                "{line}"
            );
        }
    }

    #[test]
    fn regress_the_vehicle_refuses_and_remembers_what_would_change_it() {
        let mut vehicle = vehicle::Vehicle::learn(&drive()).expect("live data");
        let mut frame = recording::Frame::default();
        frame.id = 0x7E0;
        for (id, extended) in [(0x7E0, false), (0x18DA_10F1, true)] {
            (frame.id, frame.extended) = (id, extended);
            frame.set_data(&[0x01, 0x04, 0, 0, 0, 0, 0, 0]);
            let answers = vehicle.take(0.0, &frame);
            if let Some(answer) = answers.first() {
                assert_eq!(answer.data()[..4], [3, 0x7F, 0x04, 0x12]);
            }
        }
        assert_eq!(vehicle.changing, [vec![0x04]]);
    }
}
