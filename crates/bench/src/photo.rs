//! Photos: what the camera wrote beside the picture (place, time, device) is taken out; which way is up stays.

/// The media type of a picture we keep, by its first bytes.
#[must_use]
pub fn kind(bytes: &[u8]) -> Option<&'static str> {
    if bytes.starts_with(&[0xff, 0xd8, 0xff]) {
        Some("image/jpeg")
    } else if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        Some("image/png")
    } else {
        None
    }
}

/// The picture without what stands beside it; none when it is no JPEG or PNG that can be walked through.
#[must_use]
pub fn stripped(bytes: &[u8]) -> Option<Vec<u8>> {
    match kind(bytes)? {
        "image/jpeg" => jpeg(bytes),
        _ => png(bytes),
    }
}

fn be16(bytes: &[u8], at: usize) -> Option<usize> {
    Some(usize::from(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?)))
}

/// Segments of ITU-T T.81: application data except JFIF, colour profile and colour transform goes, comments go.
fn jpeg(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut out = vec![0xff, 0xd8];
    let mut at = 2;
    let mut up = None;
    loop {
        if bytes.get(at) != Some(&0xff) {
            return None;
        }
        let marker = *bytes.get(at + 1)?;
        if marker == 0xff {
            at += 1;
            continue;
        }
        if marker == 0xd9 {
            return None;
        }
        let end = at + 2 + be16(bytes, at + 2)?;
        let segment = bytes.get(at..end)?;
        match marker {
            0xe1 => up = up.or_else(|| orientation(segment.get(4..)?)),
            0xe3..=0xed | 0xef | 0xfe => {}
            // The second image of a phone's multi-picture file stands behind an APP2 of its own.
            0xe2 if segment.get(4..8) == Some(b"MPF\0") => {}
            0xda => {
                if let Some(up) = up.filter(|u| (2..=8).contains(u)) {
                    out.splice(2..2, upright(up));
                }
                let picture = bytes.get(at..)?;
                // What follows the end of the picture is no picture.
                let stop = end_of_scan(picture)?;
                out.extend_from_slice(picture.get(..stop)?);
                return Some(out);
            }
            _ => out.extend_from_slice(segment),
        }
        at = end;
    }
}

/// Where the first picture ends: its EOI marker. Inside a scan FF is followed by 00 or a restart marker; between
/// scans stand segments with a length.
fn end_of_scan(bytes: &[u8]) -> Option<usize> {
    let mut at = 0;
    while at + 1 < bytes.len() {
        if bytes.get(at) != Some(&0xff) {
            at += 1;
            continue;
        }
        match *bytes.get(at + 1)? {
            0xd9 => return Some(at + 2),
            0x00 | 0x01 | 0xd0..=0xd7 => at += 2,
            0xff => at += 1,
            _ => at += 2 + be16(bytes, at + 2)?,
        }
    }
    None
}

/// Tag 0x0112 of the first directory of an Exif block (TIFF 6.0).
fn orientation(exif: &[u8]) -> Option<u16> {
    let tiff = exif.strip_prefix(b"Exif\0\0")?;
    let little = tiff.starts_with(b"II");
    let two = |at: usize| {
        let b: [u8; 2] = tiff.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if little { u16::from_le_bytes(b) } else { u16::from_be_bytes(b) })
    };
    let b: [u8; 4] = tiff.get(4..8)?.try_into().ok()?;
    let directory =
        usize::try_from(if little { u32::from_le_bytes(b) } else { u32::from_be_bytes(b) }).ok()?;
    let count = usize::from(two(directory)?);
    (0..count).find_map(|i| {
        let at = directory.checked_add(2 + 12 * i)?;
        (two(at)? == 0x0112).then(|| two(at + 8)).flatten()
    })
}

/// An Exif block with nothing in it but which way is up.
fn upright(up: u16) -> Vec<u8> {
    let mut out = vec![0xff, 0xe1, 0, 34];
    out.extend_from_slice(b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01");
    out.extend_from_slice(&up.to_be_bytes());
    out.extend_from_slice(&[0, 0, 0, 0, 0, 0]);
    out
}

/// Chunks of the PNG specification: those that are needed to show the picture stay.
fn png(bytes: &[u8]) -> Option<Vec<u8>> {
    const KEEP: [&[u8]; 12] = [
        b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"pHYs",
        b"bKGD",
    ];
    let mut out = bytes.get(..8)?.to_vec();
    let mut at = 8;
    loop {
        let length: [u8; 4] = bytes.get(at..at + 4)?.try_into().ok()?;
        let end = at.checked_add(12)?.checked_add(usize::try_from(u32::from_be_bytes(length)).ok()?)?;
        let name = bytes.get(at + 4..at + 8)?;
        if KEEP.contains(&name) {
            out.extend_from_slice(bytes.get(at..end)?);
        }
        if name == b"IEND" {
            return Some(out);
        }
        at = end;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn segment(marker: u8, body: &[u8]) -> Vec<u8> {
        let mut out = vec![0xff, marker];
        out.extend_from_slice(&(body.len() as u16 + 2).to_be_bytes());
        out.extend_from_slice(body);
        out
    }

    #[test]
    fn property_nothing_but_the_picture_and_which_way_is_up_is_kept() {
        let exif = b"Exif\0\0II*\0\x08\0\0\0\x02\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0\x25\x88\x04\0\x01\0\0\0\x26\0\0\0GPS N 59 12";
        let mut photo = vec![0xff, 0xd8];
        photo.extend(segment(0xe1, exif));
        photo.extend(segment(0xe1, b"http://ns.adobe.com/xap/1.0/\0 GPSLatitude"));
        photo.extend(segment(0xfe, b"GPS comment"));
        photo.extend(segment(0xdb, b"table"));
        photo.extend(segment(0xda, b"scan"));
        photo.extend([1, 2, 0xff, 0, 3, 0xff, 0xd9]);
        photo.extend(b"GPS trailer");
        let clean = stripped(&photo).expect("a photo");
        let text = String::from_utf8_lossy(&clean);
        assert!(!text.contains("GPS") && !text.contains("xap"), "{text}");
        assert!(text.contains("table") && clean.ends_with(&[3, 0xff, 0xd9]));
        assert_eq!(clean.get(6..).and_then(orientation_of), Some(6));
        // A second time nothing changes.
        assert_eq!(stripped(&clean), Some(clean.clone()));
    }

    fn orientation_of(exif: &[u8]) -> Option<u16> {
        orientation(exif)
    }

    #[test]
    fn property_no_bytes_make_it_panic() {
        for n in 0..64_u8 {
            let mut bytes = vec![0xff, 0xd8, 0xff, 0xe1, 0, n];
            bytes.extend((0..n).map(|i| i.wrapping_mul(37)));
            let _ = stripped(&bytes);
            let mut png = b"\x89PNG\r\n\x1a\n\xff\xff\xff".to_vec();
            png.extend((0..n).map(|i| i.wrapping_mul(91)));
            assert_eq!(stripped(&png), None);
        }
        assert_eq!(stripped(b"<svg onload=alert(1)>"), None);
    }
}
