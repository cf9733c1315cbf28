//! Files beside the database, each under the hash of its content: kept once, never changed.

use crate::Error;
use std::path::{Path, PathBuf};

/// A folder of files.
#[derive(Debug, Clone)]
pub struct Files {
    folder: PathBuf,
}

fn failed(path: &Path, why: std::io::Error) -> Error {
    Error::File { path: path.display().to_string(), why }
}

impl Files {
    /// A folder; made when it is not there.
    ///
    /// # Errors
    /// When it cannot be made.
    pub fn new(folder: &Path) -> Result<Self, Error> {
        std::fs::create_dir_all(folder).map_err(|e| failed(folder, e))?;
        Ok(Self { folder: folder.to_owned() })
    }

    fn path(&self, hash: &str) -> Option<PathBuf> {
        let hex = hash.len() == 64 && hash.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b));
        hex.then(|| self.folder.join(hash.get(..2).unwrap_or_default()).join(hash))
    }

    /// Keeps a file; gives the hash of its content (BLAKE3, hexadecimal).
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn keep(&self, bytes: &[u8]) -> Result<String, Error> {
        let hash = blake3::hash(bytes).to_hex().to_string();
        let Some(path) = self.path(&hash) else { return Ok(hash) };
        if path.exists() {
            return Ok(hash);
        }
        let folder = path.parent().unwrap_or(&self.folder);
        std::fs::create_dir_all(folder).map_err(|e| failed(folder, e))?;
        // Written beside and renamed: a file under its hash is whole, whatever happens meanwhile.
        let beside = folder.join(format!("{hash}.{}", std::process::id()));
        std::fs::write(&beside, bytes).map_err(|e| failed(&beside, e))?;
        std::fs::rename(&beside, &path).map_err(|e| failed(&path, e))?;
        Ok(hash)
    }

    /// A file by its hash; none when it is not there. Its content is checked against the hash.
    ///
    /// # Errors
    /// When it cannot be read or was altered.
    pub fn get(&self, hash: &str) -> Result<Option<Vec<u8>>, Error> {
        let Some(path) = self.path(hash) else { return Ok(None) };
        match std::fs::read(&path) {
            Ok(bytes) if blake3::hash(&bytes).to_hex().as_str() == hash => Ok(Some(bytes)),
            Ok(_) => Err(Error::Unreadable(format!("{}: altered after it was kept", path.display()))),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
            Err(e) => Err(failed(&path, e)),
        }
    }
}
