//! What ends a run early, and the one place that decides exit codes.

use crate::args;
use crate::words::say_with;
use facts::finding::Findings;
use std::fmt;
use std::process::ExitCode;

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Answered, also in part.
    Answered,
    /// Neither soot nor the fault set is told.
    TellsNothing,
}

/// Why a run ended without an answer.
#[derive(Debug)]
pub enum Failure {
    /// Input refused; the text says what, where, and what to do.
    Refused(String),
    /// The command line asks for something that cannot be.
    Usage(String),
    /// Whoever reads our output went away.
    BrokenPipe,
}

impl Failure {
    /// A file that could not be read.
    pub fn read(path: &str, why: &std::io::Error) -> Self {
        Self::Refused(say_with("error-read", &args! { "path" => path, "why" => why.to_string() }))
    }

    /// A file that could not be written.
    pub fn write(path: &str, why: &std::io::Error) -> Self {
        Self::Refused(say_with("error-write", &args! { "path" => path, "why" => why.to_string() }))
    }

    /// A file that is no UTF-8 text.
    pub fn not_text(path: &str, line: usize) -> Self {
        Self::Refused(say_with("error-not-text", &args! { "path" => path, "line" => line.to_string() }))
    }

    /// Everything that is wrong with a case or with knowledge, each with its place.
    pub fn refused(findings: Findings) -> Self {
        let count = findings.findings.len();
        Self::Refused(format!("{findings}\n{}", say_with("error-refused", &args! { "count" => count })))
    }

    /// Standard output could not be written.
    pub fn output(why: &std::io::Error) -> Self {
        if why.kind() == std::io::ErrorKind::BrokenPipe {
            Self::BrokenPipe
        } else {
            Self::write("standard output", why)
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Refused(text) | Self::Usage(text) => f.write_str(text),
            Self::BrokenPipe => Ok(()),
        }
    }
}

/// The exit status of a run: 0 answered (also in part), 1 input refused, 2 usage, 3 neither soot nor the fault set
/// told. A reader that went away had enough.
pub fn exit_code(run: &Result<Outcome, Failure>) -> ExitCode {
    ExitCode::from(match run {
        Ok(Outcome::Answered) | Err(Failure::BrokenPipe) => 0,
        Err(Failure::Refused(_)) => 1,
        Err(Failure::Usage(_)) => 2,
        Ok(Outcome::TellsNothing) => 3,
    })
}
