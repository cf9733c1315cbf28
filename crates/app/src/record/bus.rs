//! What a recorder needs of a bus.

use recording::Frame;
use recording::live::request::Outgoing;
use std::io;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// Something that came from the adapter.
pub enum Received {
    /// A frame and when it came, in nanoseconds since 1970.
    Frame(i64, Frame),
    /// The adapter refused what it was told.
    Refused,
}

/// A way to a vehicle. What can be sent is bounded by the type.
pub trait Bus {
    /// Sends.
    fn send(&mut self, outgoing: Outgoing) -> io::Result<()>;
    /// What came, waiting at most so long.
    fn receive(&mut self, wait: Duration) -> io::Result<Option<Received>>;
    /// Leaves the bus.
    fn close(&mut self) {}
}

/// This moment in nanoseconds since 1970.
pub fn now_ns() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_nanos()).unwrap_or(i64::MAX)
}

/// A network interface of the kernel.
#[cfg(all(target_os = "linux", feature = "socketcan"))]
pub mod kernel {
    use super::{Bus, Received, now_ns};
    use recording::live::request::Outgoing;
    use recording::{Frame, FrameKind};
    use socketcan::{
        CanFrame, CanSocket, EmbeddedFrame, ExtendedId, Frame as _, Id, Socket, SocketOptions, StandardId,
    };
    use std::io;
    use std::time::Duration;

    /// A socket on one interface.
    pub struct Interface(CanSocket);

    impl Interface {
        /// Opens an interface such as `can0`, which must be up already.
        pub fn open(name: &str) -> io::Result<Self> {
            let socket = CanSocket::open(name)?;
            socket.set_error_filter_accept_all()?;
            Ok(Interface(socket))
        }
    }

    impl Bus for Interface {
        fn send(&mut self, outgoing: Outgoing) -> io::Result<()> {
            let frame = outgoing.frame();
            let id: Option<Id> = if frame.extended {
                ExtendedId::new(frame.id).map(Id::Extended)
            } else {
                StandardId::new(frame.id as u16).map(Id::Standard)
            };
            let frame = id.and_then(|id| CanFrame::new(id, frame.data()));
            self.0.write_frame(&frame.ok_or(io::ErrorKind::InvalidInput)?)
        }

        fn receive(&mut self, wait: Duration) -> io::Result<Option<Received>> {
            let got = match self.0.read_frame_timeout(wait) {
                Ok(frame) => frame,
                Err(e) if matches!(e.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut) => {
                    return Ok(None);
                }
                Err(e) => return Err(e),
            };
            let mut frame = Frame::default();
            frame.id = got.raw_id() & 0x1FFF_FFFF;
            frame.extended = got.is_extended();
            frame.set_data(got.data());
            frame.kind = match got {
                CanFrame::Data(_) => FrameKind::Classic,
                CanFrame::Remote(_) => FrameKind::Remote,
                CanFrame::Error(_) => FrameKind::Error,
            };
            Ok(Some(Received::Frame(now_ns(), frame)))
        }
    }
}
