//! A toolpath that is walked more than once: a file, or a copy of what comes through a pipe.

use crate::files::{Name, Seen};
use crate::report::{Failure, Refusal, Source};
use evengap::Error;
use std::fs::File;
use std::io::{self, Read, Seek as _, SeekFrom};

/// Bytes read at a time.
pub(crate) const CHUNK: usize = 256 * 1024;

/// See the module.
pub(crate) struct Toolpath {
    pub(crate) name: String,
    bytes: Bytes,
    /// How long it is.
    pub(crate) length: u64,
}

enum Bytes {
    /// And the file as it was when it was first opened.
    File(Name, Option<Seen>),
    /// Without a name on the medium: it goes when the command ends, however it ends.
    Copy(File),
}

impl Toolpath {
    /// Looks the file up, or copies what cannot be read twice.
    pub(crate) fn of(name: &Name) -> Result<Toolpath, Failure> {
        let (mut input, length) = name.open()?;
        let shown = name.shown();
        if let Some(length) = length {
            return Ok(Toolpath { name: shown, bytes: Bytes::File(name.clone(), input.seen()), length });
        }
        let fail = |e| Failure::io("cannot keep a copy of", std::path::Path::new(&shown), e);
        let mut copy = tempfile::tempfile().map_err(fail)?;
        let length = io::copy(&mut input, &mut copy).map_err(fail)?;
        Ok(Toolpath { name: shown, bytes: Bytes::Copy(copy), length })
    }

    /// From its beginning.
    pub(crate) fn open(&self) -> Result<Box<dyn Read>, Failure> {
        let fail = |e| Failure::io("cannot read", std::path::Path::new(&self.name), e);
        match &self.bytes {
            Bytes::File(name, seen) => {
                let (input, _) = name.open()?;
                if input.seen() != *seen {
                    return Err(fail(io::Error::other("it changed while it was checked: check it again")));
                }
                Ok(Box::new(input))
            }
            Bytes::Copy(copy) => {
                let mut copy = copy.try_clone().map_err(fail)?;
                copy.seek(SeekFrom::Start(0)).map_err(fail)?;
                Ok(Box::new(copy))
            }
        }
    }

    /// Reads it once, chunk by chunk.
    pub(crate) fn walk(&self, mut take: impl FnMut(&[u8]) -> Result<(), Failure>) -> Result<(), Failure> {
        let mut input = self.open()?;
        let mut chunk = vec![0; CHUNK];
        loop {
            match self.read(&mut *input, &mut chunk)? {
                0 => return Ok(()),
                n => take(&chunk[..n])?,
            }
        }
    }

    /// The next bytes of one reading of it; 0 at its end.
    pub(crate) fn read(&self, input: &mut dyn Read, chunk: &mut [u8]) -> Result<usize, Failure> {
        loop {
            match input.read(chunk) {
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                done => return done.map_err(|e| Failure::io("cannot read", std::path::Path::new(&self.name), e)),
            }
        }
    }

    /// The engine's refusal, with the lines that it speaks of.
    pub(crate) fn refused(&self, error: &Error) -> Failure {
        let line = |n: u64| self.open().ok().and_then(|input| crate::files::line_of(input, n));
        let lines = error.places().iter().filter_map(|p| Some((p.line, line(p.line)?))).collect();
        Refusal::by_engine(error, Source { name: self.name.clone(), lines }).into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_changes_between_two_walks_is_noticed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("part.gcode");
        std::fs::write(&path, "G28\n").unwrap();
        let toolpath = Toolpath::of(&Name::Path(path.clone())).unwrap();
        let mut seen = Vec::new();
        toolpath
            .walk(|chunk| {
                seen.extend_from_slice(chunk);
                Ok(())
            })
            .unwrap();
        assert_eq!((seen.as_slice(), toolpath.length), (b"G28\n".as_slice(), 4));
        std::fs::write(&path, "G28 X\n").unwrap();
        assert!(toolpath.open().is_err());
    }
}
