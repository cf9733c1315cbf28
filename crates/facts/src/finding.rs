//! What is wrong with a file, where, and what to do about it.

use std::collections::BTreeMap;
use std::fmt;
use std::ops::Range;

/// One thing found in a file.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Finding {
    /// The file's name as it was given.
    pub file: String,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// What is wrong.
    pub what: String,
    /// What to do. May be empty when `what` says it all.
    pub advice: String,
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}: {}", self.file, self.line, self.column, self.what)?;
        if self.advice.is_empty() { Ok(()) } else { write!(f, "; {}", self.advice) }
    }
}

/// All findings that make a file unusable, in the order of their places.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Findings {
    /// The findings; never empty when this is an error.
    pub findings: Vec<Finding>,
}

impl fmt::Display for Findings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, finding) in self.findings.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            write!(f, "{finding}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Findings {}

/// Where the keys and rows of a file stand. A path is written with dots, rows counted from 0:
/// `filter.diameter_mm`, `refill.2`, `refill.2.volume_l`.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Places {
    file: String,
    line_starts: Vec<usize>,
    text: String,
    spans: BTreeMap<String, Range<usize>>,
}

impl Places {
    pub(crate) fn new(file: &str, text: &str) -> Self {
        let line_starts = std::iter::once(0).chain(text.match_indices('\n').map(|(i, _)| i + 1)).collect();
        Self { file: file.to_owned(), line_starts, text: text.to_owned(), spans: BTreeMap::new() }
    }

    /// The file's name as it was given.
    #[must_use]
    pub fn file(&self) -> &str {
        &self.file
    }

    pub(crate) fn put(&mut self, path: &str, span: Range<usize>) {
        self.spans.insert(path.to_owned(), span);
    }

    /// Line and column, both from 1, of a byte of the text.
    #[must_use]
    pub fn line_column(&self, byte: usize) -> (usize, usize) {
        let line = self.line_starts.partition_point(|&s| s <= byte).max(1);
        let start = self.line_starts.get(line - 1).copied().unwrap_or(0);
        let column = self
            .text
            .get(start..)
            .map_or(0, |rest| rest.char_indices().take_while(|(i, _)| start + i < byte).count());
        (line, column + 1)
    }

    /// The text of a line counted from 1, without its line break.
    pub(crate) fn line_text(&self, line: usize) -> &str {
        self.text.lines().nth(line.saturating_sub(1)).unwrap_or("")
    }

    /// Line and column, both from 1, of a path; of its nearest known parent otherwise; of the beginning
    /// of the file when nothing of it is known.
    #[must_use]
    pub fn of(&self, path: &str) -> (usize, usize) {
        let mut path = path;
        loop {
            if let Some(span) = self.spans.get(path) {
                return self.line_column(span.start);
            }
            match path.rsplit_once('.') {
                Some((parent, _)) => path = parent,
                None => return (1, 1),
            }
        }
    }

    pub(crate) fn finding(&self, path: &str, what: impl Into<String>, advice: impl Into<String>) -> Finding {
        self.at(self.of(path), what, advice)
    }

    pub(crate) fn finding_at_byte(
        &self,
        byte: usize,
        what: impl Into<String>,
        advice: impl Into<String>,
    ) -> Finding {
        self.at(self.line_column(byte), what, advice)
    }

    fn at(&self, place: (usize, usize), what: impl Into<String>, advice: impl Into<String>) -> Finding {
        let (line, column) = place;
        Finding { file: self.file.clone(), line, column, what: what.into(), advice: advice.into() }
    }
}
