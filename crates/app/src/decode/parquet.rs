//! Parquet: the same rows as the other forms, packed with Zstandard; who wrote them, from what, and the units stand in
//! the file's metadata.

use super::export::{COLUMNS, Run, Sink};
use parquet::basic::{Compression, ZstdLevel};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int32Type};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::parser::parse_message_type;
use recording::Recording;
use std::collections::BTreeMap;
use std::io::{self, Write};
use std::sync::Arc;

/// Rows of one row group: enough for good packing, little enough to stay in memory.
const ROWS: usize = 1 << 20;

/// Rows that wait to be written.
#[derive(Default)]
struct Waiting {
    texts: [Vec<ByteArray>; 4],
    instance: Vec<i32>,
    numbers: [Vec<f64>; 2],
}

struct File<W: Write + Send> {
    writer: SerializedFileWriter<W>,
    waiting: Waiting,
    units: BTreeMap<String, String>,
}

/// A writer of Parquet.
pub fn sink(out: Box<dyn Write + Send>) -> io::Result<Box<dyn Sink>> {
    let [file, source, signal, instance, unit, time, value] = COLUMNS;
    let schema = format!(
        "message samples {{ required binary {file} (UTF8); required binary {source} (UTF8); \
         required binary {signal} (UTF8); required int32 {instance}; required binary {unit} (UTF8); \
         required double {time}; required double {value}; }}"
    );
    let schema = Arc::new(parse_message_type(&schema).map_err(io::Error::other)?);
    let level = ZstdLevel::try_new(3).map_err(io::Error::other)?;
    let properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(level))
        .set_created_by(format!("sootwright {}", env!("CARGO_PKG_VERSION")))
        .build();
    let writer = SerializedFileWriter::new(out, schema, Arc::new(properties)).map_err(io::Error::other)?;
    Ok(Box::new(File { writer, waiting: Waiting::default(), units: BTreeMap::new() }))
}

impl<W: Write + Send> File<W> {
    fn write_group(&mut self) -> Result<(), parquet::errors::ParquetError> {
        let waiting = std::mem::take(&mut self.waiting);
        let [file, source, signal, unit] = &waiting.texts;
        let [time, value] = &waiting.numbers;
        let mut group = self.writer.next_row_group()?;
        let mut place = 0;
        while let Some(mut column) = group.next_column()? {
            match place {
                0 => column.typed::<ByteArrayType>().write_batch(file, None, None)?,
                1 => column.typed::<ByteArrayType>().write_batch(source, None, None)?,
                2 => column.typed::<ByteArrayType>().write_batch(signal, None, None)?,
                3 => column.typed::<Int32Type>().write_batch(&waiting.instance, None, None)?,
                4 => column.typed::<ByteArrayType>().write_batch(unit, None, None)?,
                5 => column.typed::<DoubleType>().write_batch(time, None, None)?,
                _ => column.typed::<DoubleType>().write_batch(value, None, None)?,
            };
            column.close()?;
            place += 1;
        }
        group.close()?;
        Ok(())
    }

    fn remember(&mut self, key: String, value: String) {
        self.writer.append_key_value_metadata(KeyValue::new(key, value));
    }
}

impl<W: Write + Send + 'static> Sink for File<W> {
    fn run(&mut self, run: &Run<'_>) -> io::Result<()> {
        if run.value.is_empty() {
            return Ok(());
        }
        self.units.insert(run.signal.to_owned(), run.unit.to_owned());
        let texts =
            [run.file, run.source, run.signal, run.unit].map(|t| ByteArray::from(t.as_bytes().to_vec()));
        let count = run.value.len();
        for (column, text) in self.waiting.texts.iter_mut().zip(texts) {
            column.extend(std::iter::repeat_n(text, count));
        }
        self.waiting.instance.extend(std::iter::repeat_n(i32::from(run.instance), count));
        let [time, value] = &mut self.waiting.numbers;
        time.extend_from_slice(run.time_s);
        value.extend_from_slice(run.value);
        if self.waiting.instance.len() >= ROWS {
            self.write_group().map_err(io::Error::other)?;
        }
        Ok(())
    }

    fn input(&mut self, file: &str, blake3: &str, recording: &Recording) -> io::Result<()> {
        self.remember(format!("input.{file}.blake3"), blake3.to_owned());
        self.remember(format!("input.{file}.problems"), recording.problems.len().to_string());
        if let Some(start) = recording.start_epoch_s {
            self.remember(format!("input.{file}.start_epoch_s"), start.to_string());
        }
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> io::Result<()> {
        if !self.waiting.instance.is_empty() {
            self.write_group().map_err(io::Error::other)?;
        }
        let units = serde_json::to_string(&self.units).map_err(io::Error::other)?;
        self.remember("units".to_owned(), units);
        self.remember("program".to_owned(), format!("sootwright {}", env!("CARGO_PKG_VERSION")));
        let mut this = *self;
        this.writer.finish().map_err(io::Error::other)?;
        this.writer.inner_mut().flush()
    }
}
