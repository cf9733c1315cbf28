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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop here")]
    use super::*;
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::RowAccessor;

    #[test]
    fn regress_rows_and_where_they_come_from_are_read_again() {
        let path = std::env::temp_dir().join(format!("sootwright-{}.parquet", std::process::id()));
        let mut sink = sink(Box::new(std::fs::File::create(&path).unwrap())).unwrap();
        let run = |signal: &'static str, unit: &'static str, value: &'static [f64]| Run {
            file: "drive.log",
            source: "7E8 01 0D",
            signal,
            instance: 2,
            unit,
            time_s: &[0.0, 0.5, 1.0],
            value,
        };
        sink.run(&run("vehicle_speed", "km/h", &[50.0, 51.0, 52.0])).unwrap();
        sink.run(&run("engine_speed", "rpm", &[800.0, 801.25, 802.0])).unwrap();
        sink.input("drive.log", "abc", &Recording::default()).unwrap();
        sink.finish().unwrap();

        let reader = SerializedFileReader::new(std::fs::File::open(&path).unwrap()).unwrap();
        let metadata = reader.metadata().file_metadata();
        let pairs = metadata.key_value_metadata().unwrap();
        let value = |key: &str| pairs.iter().find(|p| p.key == key).and_then(|p| p.value.clone()).unwrap();
        assert_eq!(value("input.drive.log.blake3"), "abc");
        assert_eq!(value("units"), r#"{"engine_speed":"rpm","vehicle_speed":"km/h"}"#);
        assert!(value("program").starts_with("sootwright "));
        let packing = reader.metadata().row_group(0).column(0).compression();
        assert!(matches!(packing, Compression::ZSTD(_)), "{packing:?}");
        let rows: Vec<_> = reader.get_row_iter(None).unwrap().map(Result::unwrap).collect();
        assert_eq!(rows.len(), 6);
        assert_eq!(rows[4].get_string(2).unwrap(), "engine_speed");
        assert_eq!(rows[4].get_int(3).unwrap(), 2);
        assert_eq!((rows[4].get_double(5).unwrap(), rows[4].get_double(6).unwrap()), (0.5, 801.25));
        std::fs::remove_file(path).unwrap();
    }
}
