//! One CAN frame, whatever container it came in.

/// What kind of frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum FrameKind {
    /// A data frame with up to 8 bytes.
    #[default]
    Classic,
    /// A CAN FD frame.
    Fd {
        /// The data phase ran at the higher rate.
        bit_rate_switch: bool,
        /// The sender was error passive.
        error_state: bool,
    },
    /// A remote frame: a request for data, without data.
    Remote,
    /// An error report of the receiving controller. The frame's id holds the class bits.
    Error,
}

/// Whether the logging side received or sent the frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// `R`: received.
    Received,
    /// `T`: sent.
    Sent,
}

/// One CAN frame. Reused from line to line so that reading allocates nothing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    /// Time in nanoseconds, as written: since 1970 or since some start.
    pub time_ns: i64,
    /// Identifier without flag bits (for an error frame: its class bits).
    pub id: u32,
    /// The identifier has 29 bits.
    pub extended: bool,
    /// Kind of frame.
    pub kind: FrameKind,
    /// Direction, where the log states it.
    pub direction: Option<Direction>,
    pub(crate) length: u8,
    pub(crate) bytes: [u8; 64],
}

impl Default for Frame {
    fn default() -> Self {
        Frame {
            time_ns: 0,
            id: 0,
            extended: false,
            kind: FrameKind::Classic,
            direction: None,
            length: 0,
            bytes: [0; 64],
        }
    }
}

impl Frame {
    /// The data bytes. Empty for a remote frame, whose [`Frame::length`] is what it asks for.
    pub fn data(&self) -> &[u8] {
        if self.kind == FrameKind::Remote {
            return &[];
        }
        self.bytes.get(..usize::from(self.length)).unwrap_or(&[])
    }

    /// Number of data bytes (for a remote frame: asked for).
    pub fn length(&self) -> u8 {
        self.length
    }

    /// The first eight data bytes, the first one lowest; bytes beyond the frame's length are 0.
    #[inline]
    pub(crate) fn word(&self) -> u64 {
        let word = self.bytes.first_chunk::<8>().map_or(0, |b| u64::from_le_bytes(*b));
        match self.length {
            8.. => word,
            n => word & ((1u64 << (8 * n)) - 1),
        }
    }

    /// Puts at most 64 data bytes into the frame; the rest is dropped.
    #[inline]
    pub fn set_data(&mut self, data: &[u8]) {
        // Nearly every frame.
        if let (Ok(eight), Some(to)) = (<&[u8; 8]>::try_from(data), self.bytes.first_chunk_mut()) {
            *to = *eight;
            self.length = 8;
            return;
        }
        let n = data.len().min(64);
        if let (Some(to), Some(from)) = (self.bytes.get_mut(..n), data.get(..n)) {
            to.copy_from_slice(from);
        }
        self.length = n as u8;
    }
}
