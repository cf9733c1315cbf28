//! A vehicle to practise on: answers requests with what a simulated drive held at that moment.
//!
//! It knows no physics: the drive was simulated before and comes as a recording of requests and answers, out of which
//! the answers are learnt. Requests that would change a vehicle are refused and kept, so that a test can see them.

use recording::isotp::Assembler;
use recording::{Frame, Options, obd, read_frames, uds};
use std::collections::BTreeMap;

/// A value over the drive: seconds and data bytes.
type Course = Vec<(f64, Vec<u8>)>;

/// A vehicle with one module.
#[derive(Default)]
pub struct Vehicle {
    extended: bool,
    seconds: f64,
    parameters: BTreeMap<u8, Course>,
    /// Answers to other requests, by request.
    others: BTreeMap<Vec<u8>, Vec<u8>>,
    /// Frames of a long answer that wait for the flow control.
    held: Vec<Frame>,
    /// Requests that would have changed a real vehicle.
    pub changing: Vec<Vec<u8>>,
}

const PADDING: u8 = 0xAA;

impl Vehicle {
    /// Learns from a recording of diagnostic traffic; `None` if it holds no live data.
    pub fn learn(log: &[u8]) -> Option<Self> {
        let mut vehicle = Vehicle::default();
        let mut assembler = Assembler::default();
        let mut first = None;
        read_frames("drive", log, &Options::default(), &mut |frame, _| {
            let answers = matches!((frame.extended, frame.id), (false, 0x7E8) | (true, 0x18DA_F110));
            if !answers {
                return;
            }
            vehicle.extended = frame.extended;
            let start = *first.get_or_insert(frame.time_ns);
            let time = (frame.time_ns - start) as f64 / 1e9;
            if let Some(message) = assembler.push(frame.time_ns, frame.data()).message {
                vehicle.remember(time, message);
            }
        });
        (!vehicle.parameters.is_empty()).then_some(vehicle)
    }

    fn remember(&mut self, time: f64, message: &[u8]) {
        self.seconds = self.seconds.max(time);
        match message {
            [0x41, rest @ ..] => {
                for (parameter, data) in obd::split(rest, 0).unwrap_or_default().as_slice() {
                    self.parameters.entry(*parameter).or_default().push((time, data.to_vec()));
                }
            }
            [0x43 | 0x47 | 0x4A, ..] => {
                let request = message.first().map(|s| vec![s & !0x40]).unwrap_or_default();
                self.others.insert(request, message.to_vec());
            }
            [0x49, kind, ..] => {
                self.others.insert(vec![0x09, *kind], message.to_vec());
            }
            _ => {}
        }
    }

    /// What the vehicle sends when it receives a frame `time` seconds after the drive began; the drive begins again at
    /// its end.
    pub fn take(&mut self, time: f64, frame: &Frame) -> Vec<Frame> {
        let (all, own) = if self.extended { (0x18DB_33F1, 0x18DA_10F1) } else { (0x7DF, 0x7E0) };
        if frame.extended != self.extended || frame.id != all && frame.id != own {
            return Vec::new();
        }
        match frame.data() {
            [kind, ..] if kind >> 4 == 3 && frame.id == own => std::mem::take(&mut self.held),
            [length, rest @ ..] if (1..=7).contains(length) => {
                let Some(request) = rest.get(..usize::from(*length)) else { return Vec::new() };
                let request = request.to_vec();
                let answer = self.answer(time, &request);
                match answer {
                    Some(answer) => self.send(&answer),
                    // A module that has nothing to say to a question to all keeps silent.
                    None if frame.id == all => Vec::new(),
                    None => {
                        let service = request.first().copied().unwrap_or(0);
                        let code = if matches!(service, 0x01..=0x0A) { 0x12 } else { 0x11 };
                        self.send(&[0x7F, service, code])
                    }
                }
            }
            _ => Vec::new(),
        }
    }

    fn answer(&mut self, time: f64, request: &[u8]) -> Option<Vec<u8>> {
        let (service, rest) = request.split_first()?;
        if uds::changing_service(*service).is_some() {
            self.changing.push(request.to_vec());
            return None;
        }
        if *service != 0x01 {
            let known = self.others.get(request).cloned();
            let none = matches!(service, 0x03 | 0x07 | 0x0A).then(|| vec![service | 0x40, 0]);
            return known.or(none);
        }
        let time = if self.seconds > 0.0 { time % self.seconds } else { 0.0 };
        let mut answer = vec![0x41];
        for parameter in rest {
            let Some(course) = self.parameters.get(parameter) else { continue };
            let now = course.partition_point(|(t, _)| *t <= time).saturating_sub(1);
            if let Some((_, data)) = course.get(now) {
                answer.push(*parameter);
                answer.extend_from_slice(data);
            }
        }
        (answer.len() > 1).then_some(answer)
    }

    /// A message as frames; what follows a first frame waits for the flow control.
    fn send(&mut self, message: &[u8]) -> Vec<Frame> {
        let id = if self.extended { 0x18DA_F110 } else { 0x7E8 };
        let extended = self.extended;
        let frame = |head: &[u8], data: &[u8]| {
            let mut bytes = [head, data].concat();
            bytes.resize(8, PADDING);
            let mut frame = Frame::default();
            (frame.id, frame.extended) = (id, extended);
            frame.set_data(&bytes);
            frame
        };
        let length = message.len();
        if length <= 7 {
            return vec![frame(&[length as u8], message)];
        }
        let (first, rest) = message.split_at(6);
        self.held = rest
            .chunks(7)
            .enumerate()
            .map(|(n, part)| frame(&[0x20 | ((n as u8 + 1) & 0x0F)], part))
            .collect();
        vec![frame(&[0x10 | (length >> 8) as u8, length as u8], first)]
    }
}
