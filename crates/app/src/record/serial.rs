//! A serial line with an adapter behind it, and the vehicle to practise on at the other end of one.

use super::bus::{Bus, Received};
use super::vehicle::Vehicle;
use recording::live::request::Outgoing;
use recording::live::slcan::{BitRate, Command, Lines, Said};
use rustix::termios::{OptionalActions, SpecialCodeIndex};
use std::fs::{File, OpenOptions};
use std::io::{self, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

/// An adapter that speaks the ASCII protocol of the Linux `slcan` driver.
pub struct Serial {
    line: File,
    said: Receiver<io::Result<Received>>,
}

/// No line editing, no echo, no translation: bytes as they are.
fn raw(line: &File, baud: u32) -> io::Result<()> {
    let mut settings = rustix::termios::tcgetattr(line)?;
    settings.make_raw();
    settings.special_codes[SpecialCodeIndex::VMIN] = 1;
    settings.special_codes[SpecialCodeIndex::VTIME] = 0;
    settings.set_speed(baud)?;
    rustix::termios::tcsetattr(line, OptionalActions::Now, &settings)?;
    Ok(())
}

impl Serial {
    /// Opens the line and sets the adapter up.
    pub fn open(path: &Path, baud: u32, rate: BitRate, listen: bool) -> io::Result<Self> {
        // The line must not become the terminal that controls this program.
        let no_controlling_terminal = rustix::fs::OFlags::NOCTTY.bits() as i32;
        let line =
            OpenOptions::new().read(true).write(true).custom_flags(no_controlling_terminal).open(path)?;
        raw(&line, baud)?;
        let (send, said) = channel();
        let mut reading = line.try_clone()?;
        std::thread::spawn(move || {
            let mut lines = Lines::default();
            let mut bytes = [0u8; 512];
            loop {
                let got = match reading.read(&mut bytes) {
                    Ok(0) => Err(io::ErrorKind::UnexpectedEof.into()),
                    Ok(n) => Ok(n),
                    Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
                    Err(e) => Err(e),
                };
                let n = match got {
                    Ok(n) => n,
                    Err(e) => {
                        let _ = send.send(Err(e));
                        return;
                    }
                };
                let at = super::bus::now_ns();
                for byte in bytes.iter().take(n) {
                    let received = match lines.push(*byte) {
                        Some(Said::Frame(frame)) => Received::Frame(at, frame),
                        Some(Said::Refused) => Received::Refused,
                        _ => continue,
                    };
                    if send.send(Ok(received)).is_err() {
                        return;
                    }
                }
            }
        });
        let mut serial = Serial { line, said };
        serial.say(Command::Close)?;
        serial.say(Command::Speed(rate))?;
        serial.say(if listen { Command::OpenListenOnly } else { Command::Open })?;
        // What an adapter that was still open sent before belongs to nobody.
        std::thread::sleep(Duration::from_millis(50));
        while serial.said.try_recv().is_ok_and(|r| r.is_ok()) {}
        Ok(serial)
    }

    fn say(&mut self, command: Command) -> io::Result<()> {
        self.line.write_all(&command.bytes())
    }
}

impl Bus for Serial {
    fn send(&mut self, outgoing: Outgoing) -> io::Result<()> {
        self.say(Command::Send(outgoing))
    }

    fn receive(&mut self, wait: Duration) -> io::Result<Option<Received>> {
        match self.said.recv_timeout(wait) {
            Ok(received) => received.map(Some),
            Err(RecvTimeoutError::Timeout) => Ok(None),
            Err(RecvTimeoutError::Disconnected) => Err(io::ErrorKind::UnexpectedEof.into()),
        }
    }

    fn close(&mut self) {
        // The run is over either way.
        let _ = self.say(Command::Close);
    }
}

/// One end of a pseudo-terminal, with a vehicle behind it.
pub struct Served {
    line: File,
    /// What to give as serial line.
    pub path: String,
    vehicle: Vehicle,
}

impl Served {
    /// Makes the line.
    pub fn new(vehicle: Vehicle) -> io::Result<Self> {
        use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
        let line = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY)?;
        grantpt(&line)?;
        unlockpt(&line)?;
        let path = ptsname(&line, Vec::new())?.to_string_lossy().into_owned();
        Ok(Served { line: File::from(line), path, vehicle })
    }

    /// Answers until `until`, or for ever. Gives the vehicle back.
    pub fn serve(mut self, until: Option<Instant>) -> io::Result<Vehicle> {
        // Somebody must hold the other end, or reading fails while nobody is connected.
        let held = OpenOptions::new().read(true).write(true).open(&self.path)?;
        raw(&held, 115_200)?;
        let start = Instant::now();
        let mut open = false;
        let mut text: Vec<u8> = Vec::new();
        let mut bytes = [0u8; 256];
        loop {
            if until.is_some_and(|end| Instant::now() >= end) {
                return Ok(self.vehicle);
            }
            let mut ready = [rustix::event::PollFd::new(&self.line, rustix::event::PollFlags::IN)];
            let wait = rustix::event::Timespec { tv_sec: 0, tv_nsec: 50_000_000 };
            if rustix::event::poll(&mut ready, Some(&wait))? == 0 {
                continue;
            }
            let n = self.line.read(&mut bytes)?;
            for byte in bytes.iter().take(n) {
                if *byte != b'\r' {
                    text.push(*byte);
                    if text.len() > 64 {
                        text.clear();
                    }
                    continue;
                }
                let line = std::mem::take(&mut text);
                let answer = self.command(&line, &mut open, start.elapsed().as_secs_f64());
                self.line.write_all(&answer)?;
            }
        }
    }

    /// What an adapter says to one command.
    fn command(&mut self, line: &[u8], open: &mut bool, time: f64) -> Vec<u8> {
        match line {
            [b'C'] => *open = false,
            [b'O'] => *open = true,
            [b'L'] => *open = false,
            [b'S', _] => {}
            [b't' | b'T', ..] if *open => {
                let Some(frame) = recording::live::slcan::read_line(line) else { return vec![7] };
                let mut said = if frame.extended { b"Z\r".to_vec() } else { b"z\r".to_vec() };
                for frame in self.vehicle.take(time, &frame) {
                    said.extend(recording::live::slcan::write_line(&frame));
                }
                return said;
            }
            _ => return vec![7],
        }
        vec![b'\r']
    }
}
