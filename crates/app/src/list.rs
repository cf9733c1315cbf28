//! Lists that sort, filter and leave as text, CSV or JSON: one place for every command that has one.

use crate::args;
use crate::cli::ListOrder;
use crate::failure::Failure;
use crate::text::Page;
use crate::words::{digits, say, say_with};
use serde_json::{Map, Value};
use std::cmp::Ordering;

/// One cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Words.
    Text(String),
    /// A number and the decimals to show it with.
    Number(f64, usize),
    /// Not known.
    Empty,
}

impl Cell {
    /// Words, or empty.
    pub fn text(text: impl Into<String>) -> Self {
        let text = text.into();
        if text.is_empty() { Self::Empty } else { Self::Text(text) }
    }

    /// A number, or empty when it is none.
    pub fn number(value: f64, decimals: usize) -> Self {
        if value.is_finite() { Self::Number(value, decimals) } else { Self::Empty }
    }

    fn shown(&self) -> String {
        match self {
            Self::Text(t) => t.clone(),
            Self::Number(v, d) => digits(*v, *d),
            Self::Empty => String::new(),
        }
    }

    /// For other programs: no thousands marks, a point before decimals.
    fn plain(&self) -> String {
        match self {
            Self::Number(v, d) => format!("{v:.d$}"),
            other => other.shown(),
        }
    }

    fn json(&self) -> Value {
        match self {
            Self::Text(t) => t.clone().into(),
            Self::Number(v, _) => serde_json::Number::from_f64(*v).map_or(Value::Null, Value::Number),
            Self::Empty => Value::Null,
        }
    }
}

/// A column: its key in files and on the command line, and whether the terminal shows it.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    /// Key; the heading is the message `col-list-` and the key with hyphens.
    pub key: &'static str,
    /// Shown in the text; files always hold all columns.
    pub shown: bool,
    /// Holds numbers.
    pub right: bool,
}

/// A list.
#[derive(Debug, Clone)]
pub struct List {
    /// Columns.
    pub columns: Vec<Column>,
    /// Rows of as many cells.
    pub rows: Vec<Vec<Cell>>,
}

enum Test<'a> {
    Holds(&'a str),
    Below(f64),
    Above(f64),
}

impl List {
    /// A list of these columns: key, whether shown, whether numbers.
    pub fn new(columns: &[(&'static str, bool, bool)]) -> Self {
        let columns = columns.iter().map(|&(key, shown, right)| Column { key, shown, right }).collect();
        Self { columns, rows: Vec::new() }
    }

    fn column(&self, key: &str) -> Result<usize, Failure> {
        self.columns.iter().position(|c| c.key == key).ok_or_else(|| {
            let known = self.columns.iter().map(|c| c.key).collect::<Vec<_>>().join(", ");
            Failure::Usage(say_with("error-column", &args! { "key" => key.to_owned(), "known" => known }))
        })
    }

    /// Sorts and filters as ordered. Rows without a value stand last either way.
    pub fn arrange(&mut self, order: &ListOrder) -> Result<(), Failure> {
        for condition in &order.only {
            let Some(at) = condition.find(['=', '<', '>']) else {
                return Err(Failure::Usage(say_with(
                    "error-condition",
                    &args! { "condition" => condition.clone() },
                )));
            };
            let (key, rest) = condition.split_at(at);
            let value = rest.get(1..).unwrap_or_default().trim();
            let number = || {
                value.replace(',', ".").parse::<f64>().map_err(|_| {
                    Failure::Usage(say_with("error-condition", &args! { "condition" => condition.clone() }))
                })
            };
            let test = match rest.chars().next() {
                Some('<') => number().map_or(Test::Holds(value), Test::Below),
                Some('>') => number().map_or(Test::Holds(value), Test::Above),
                _ => Test::Holds(value),
            };
            // Dates compare as words, for they are written year first.
            let as_words =
                |c: &Cell, want: Ordering| matches!(c, Cell::Text(t) if t.as_str().cmp(value) == want);
            let sign = rest.chars().next().unwrap_or('=');
            let column = self.column(key.trim())?;
            self.rows.retain(|r| match (r.get(column), &test) {
                (Some(Cell::Number(v, _)), Test::Below(x)) => v < x,
                (Some(Cell::Number(v, _)), Test::Above(x)) => v > x,
                (Some(c), Test::Holds(_)) if sign == '<' => as_words(c, Ordering::Less),
                (Some(c), Test::Holds(_)) if sign == '>' => as_words(c, Ordering::Greater),
                (Some(c), Test::Holds(t)) => c.plain().to_lowercase().contains(&t.to_lowercase()),
                _ => false,
            });
        }
        if let Some(key) = &order.sort {
            let (key, down) = key.strip_prefix('-').map_or((key.as_str(), false), |k| (k, true));
            let column = self.column(key)?;
            let known = |r: &Vec<Cell>| !matches!(r.get(column), Some(Cell::Empty) | None);
            self.rows.sort_by(|a, b| {
                let by = match (a.get(column), b.get(column)) {
                    (Some(Cell::Number(x, _)), Some(Cell::Number(y, _))) => x.total_cmp(y),
                    (Some(x), Some(y)) => x.plain().cmp(&y.plain()),
                    _ => Ordering::Equal,
                };
                known(b).cmp(&known(a)).then(if down { by.reverse() } else { by })
            });
        }
        Ok(())
    }

    /// Rows as a table of the page.
    pub fn show(&self, page: &mut Page) {
        let shown: Vec<usize> =
            self.columns.iter().enumerate().filter(|(_, c)| c.shown).map(|(i, _)| i).collect();
        let header: Vec<String> = shown
            .iter()
            .filter_map(|i| self.columns.get(*i))
            .map(|c| say(&format!("col-list-{}", c.key.replace('_', "-"))))
            .collect();
        let rows: Vec<Vec<String>> = self
            .rows
            .iter()
            .map(|r| shown.iter().map(|i| r.get(*i).map_or_else(String::new, Cell::shown)).collect())
            .collect();
        let right: Vec<usize> = shown
            .iter()
            .enumerate()
            .filter(|(_, i)| self.columns.get(**i).is_some_and(|c| c.right))
            .map(|(n, _)| n)
            .collect();
        page.table(&header, &rows, &right);
    }

    /// Rows as JSON objects.
    pub fn json(&self) -> Value {
        self.rows
            .iter()
            .map(|r| {
                let pairs = self.columns.iter().zip(r).map(|(c, cell)| (c.key.to_owned(), cell.json()));
                Value::Object(pairs.collect::<Map<_, _>>())
            })
            .collect::<Vec<_>>()
            .into()
    }

    /// Rows as CSV with a header of keys.
    pub fn csv(&self) -> Result<String, Failure> {
        let refuse = |why: String| Failure::Refused(say_with("error-csv", &args! { "why" => why }));
        let mut out = csv::Writer::from_writer(Vec::new());
        out.write_record(self.columns.iter().map(|c| c.key)).map_err(|e| refuse(e.to_string()))?;
        for row in &self.rows {
            out.write_record(row.iter().map(defused)).map_err(|e| refuse(e.to_string()))?;
        }
        let bytes = out.into_inner().map_err(|e| refuse(e.to_string()))?;
        String::from_utf8(bytes).map_err(|e| refuse(e.to_string()))
    }
}

/// A cell for a spreadsheet: words that it would take for a formula begin with an apostrophe.
fn defused(cell: &Cell) -> String {
    let plain = cell.plain();
    match cell {
        Cell::Text(t) if t.starts_with(['=', '+', '-', '@']) => format!("'{plain}"),
        _ => plain,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn list() -> List {
        let mut l = List::new(&[("car", true, false), ("left_l", true, true)]);
        for (car, left) in [("b", 0.3), ("a", 1.2), ("c", f64::NAN), ("=d", 0.7)] {
            l.rows.push(vec![Cell::text(car), Cell::number(left, 2)]);
        }
        l
    }

    fn order(sort: &str, only: &[&str]) -> ListOrder {
        ListOrder {
            sort: (!sort.is_empty()).then(|| sort.to_owned()),
            only: only.iter().map(|s| (*s).to_owned()).collect(),
            csv: false,
        }
    }

    fn cars(l: &List) -> Vec<String> {
        l.rows.iter().map(|r| r[0].plain()).collect()
    }

    #[test]
    fn analytic_lists_sort_filter_and_export() {
        let mut l = list();
        l.arrange(&order("-left_l", &[])).expect("known column");
        assert_eq!(cars(&l), ["a", "=d", "b", "c"]);
        l.arrange(&order("left_l", &["left_l<1"])).expect("known column");
        assert_eq!(cars(&l), ["b", "=d"]);
        assert_eq!(l.csv().expect("CSV"), "car,left_l\nb,0.30\n'=d,0.70\n");
        assert!(list().arrange(&order("colour", &[])).is_err());
        assert!(list().arrange(&order("", &["left_l"])).is_err());
        let mut l = list();
        l.arrange(&order("", &["car=A"])).expect("known column");
        assert_eq!(cars(&l), ["a"]);
    }
}
