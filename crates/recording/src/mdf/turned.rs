//! Records stored by columns: before packing, all first bytes of the records stand together, then all second bytes.

/// Columns are turned back eight at a time.
pub(super) const GROUP: usize = 8;

/// A table of bytes with `rows` in each column, and what was left over when it was turned.
#[derive(Clone, Copy)]
pub(super) struct Turned<'a> {
    table: &'a [u8],
    pub columns: usize,
    pub rows: usize,
    pub rest: &'a [u8],
}

impl<'a> Turned<'a> {
    pub fn new(bytes: &'a [u8], columns: usize) -> Self {
        let rows = bytes.len().checked_div(columns).unwrap_or(0);
        let (table, rest) = bytes.split_at_checked(rows * columns).unwrap_or((bytes, &[]));
        Turned { table, columns, rows, rest }
    }

    /// All bytes that stood at one place of the records.
    pub fn column(&self, n: usize) -> &'a [u8] {
        let start = n.saturating_mul(self.rows);
        self.table.get(start..start.saturating_add(self.rows)).unwrap_or(&[])
    }

    /// Turns `count` rows from `first` on back into `out`, one behind the other; of the groups of eight columns only those
    /// that are `wanted`, the others keep what `out` holds.
    pub fn rows(&self, first: usize, count: usize, wanted: &[bool], out: &mut [u8]) {
        let part = |n: usize| self.column(n).get(first..first + count).unwrap_or(&[]);
        for group in (0..self.columns.div_ceil(GROUP)).filter(|g| wanted.get(*g) == Some(&true)) {
            let left = group * GROUP;
            let whole = count / GROUP * GROUP;
            let eight = left + GROUP <= self.columns;
            if eight {
                let columns: [_; GROUP] = std::array::from_fn(|n| part(left + n).as_chunks::<GROUP>().0);
                for (n, rows) in out.chunks_exact_mut(self.columns * GROUP).take(whole / GROUP).enumerate() {
                    let words = columns.map(|c| c.get(n).map_or(0, |b| u64::from_le_bytes(*b)));
                    let turned = turn(words);
                    for (row, word) in rows.chunks_exact_mut(self.columns).zip(turned) {
                        if let Some(place) = row.get_mut(left..).and_then(<[u8]>::first_chunk_mut) {
                            *place = word.to_le_bytes();
                        }
                    }
                }
            }
            // The last rows, and the last columns.
            let done = if eight { whole } else { 0 };
            for column in left..(left + GROUP).min(self.columns) {
                let rows = out.chunks_exact_mut(self.columns).take(count).skip(done);
                for (row, value) in rows.zip(part(column).get(done..).unwrap_or(&[])) {
                    if let Some(place) = row.get_mut(column) {
                        *place = *value;
                    }
                }
            }
        }
    }

    /// Turns everything back.
    pub fn back(&self) -> Vec<u8> {
        // A few rows at a time, so that what is written stays in the nearest cache.
        const ROWS: usize = 256;
        if self.rows == 0 {
            return self.rest.to_vec();
        }
        let wanted = vec![true; self.columns.div_ceil(GROUP)];
        let mut out = vec![0u8; self.table.len()];
        for (n, part) in out.chunks_mut((self.columns * ROWS).max(1)).enumerate() {
            self.rows(n * ROWS, ROWS.min(self.rows - n * ROWS), &wanted, part);
        }
        out.extend_from_slice(self.rest);
        out
    }
}

/// Turns a square of eight by eight bytes: byte k of word n becomes byte n of word k.
#[inline(always)]
fn turn(words: [u64; GROUP]) -> [u64; GROUP] {
    #[inline(always)]
    fn swap(a: &mut u64, b: &mut u64, shift: u32, mask: u64) {
        let both = (*a >> shift ^ *b) & mask;
        *b ^= both;
        *a ^= both << shift;
    }
    let [mut a, mut b, mut c, mut d, mut e, mut f, mut g, mut h] = words;
    const FOUR: u64 = 0x0000_0000_FFFF_FFFF;
    swap(&mut a, &mut e, 32, FOUR);
    swap(&mut b, &mut f, 32, FOUR);
    swap(&mut c, &mut g, 32, FOUR);
    swap(&mut d, &mut h, 32, FOUR);
    const TWO: u64 = 0x0000_FFFF_0000_FFFF;
    swap(&mut a, &mut c, 16, TWO);
    swap(&mut b, &mut d, 16, TWO);
    swap(&mut e, &mut g, 16, TWO);
    swap(&mut f, &mut h, 16, TWO);
    const ONE: u64 = 0x00FF_00FF_00FF_00FF;
    swap(&mut a, &mut b, 8, ONE);
    swap(&mut c, &mut d, 8, ONE);
    swap(&mut e, &mut f, 8, ONE);
    swap(&mut g, &mut h, 8, ONE);
    [a, b, c, d, e, f, g, h]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_turning_back_is_the_inverse_of_turning() {
        for (rows, columns, rest) in
            [(1, 1, 0), (7, 3, 2), (300, 84, 5), (1000, 8, 0), (513, 17, 16), (9, 40, 39)]
        {
            let content: Vec<u8> = (0..rows * columns + rest).map(|n| (n * 7 + n / 251) as u8).collect();
            let mut stored: Vec<u8> = Vec::new();
            for column in 0..columns {
                stored.extend((0..rows).map(|row| content[row * columns + column]));
            }
            stored.extend_from_slice(&content[rows * columns..]);
            let turned = Turned::new(&stored, columns);
            assert_eq!((turned.rows, turned.rest.len()), (rows, rest));
            assert!(turned.back() == content, "{rows} rows of {columns}");
            // A part of the rows and of the columns.
            let mut wanted = vec![false; columns.div_ceil(GROUP)];
            wanted[0] = true;
            let (first, count) = (rows / 3, rows / 2);
            let mut out = vec![0xEE; count * columns];
            turned.rows(first, count, &wanted, &mut out);
            for (n, byte) in out.iter().enumerate() {
                let kept = n % columns >= GROUP;
                assert_eq!(*byte, if kept { 0xEE } else { content[first * columns + n] });
            }
        }
        assert_eq!(Turned::new(&[1, 2, 3], 0).back(), [1, 2, 3]);
    }
}
