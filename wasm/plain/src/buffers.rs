//! All memory that a host writes to or reads from: buffers that the module makes, kept in a table by their addresses.
//!
//! A host's address is looked up, never followed: what is handed to the engine is the slice of a `Vec` of this table, of at
//! most the length that was asked for. So whatever numbers a host gives, no other memory of the module is read or written by
//! its functions. What this cannot see: a host that itself writes outside its buffers (all of a module's memory is open to
//! its host), and an address of a freed buffer which a newer one has got.
//!
//! A host reads and writes while no call runs: the module has no threads and imports nothing, so it cannot call back. The
//! addresses are exposed ([`pointer::expose_provenance`](https://doc.rust-lang.org/std/primitive.pointer.html)), which
//! tells the compiler that bytes may change between calls.

use crate::fault::Fault;

/// Bytes of one buffer at most: 2^24 points.
pub(crate) const MOST_BYTES: usize = 1 << 28;

/// Buffers at a time: who has more forgets to give them back.
pub(crate) const MOST_BUFFERS: usize = 1000;

/// The buffers that were made and not given back.
#[derive(Debug)]
pub(crate) struct Buffers(Vec<Buffer>);

#[derive(Debug)]
struct Buffer {
    /// What the host knows it by.
    address: usize,
    /// As many as were asked for. They never grow: they would move.
    bytes: Vec<u8>,
}

impl Buffer {
    /// Its first `len` bytes.
    fn start(&self, len: usize) -> Result<&[u8], Fault> {
        self.bytes.get(..len).ok_or_else(|| short(self.address, self.bytes.len(), len))
    }

    fn start_mut(&mut self, len: usize) -> Result<&mut [u8], Fault> {
        let has = self.bytes.len();
        self.bytes.get_mut(..len).ok_or_else(|| short(self.address, has, len))
    }
}

#[cold]
fn short(address: usize, has: usize, len: usize) -> Fault {
    Fault::call(format!("the buffer at {address} has {has} bytes, and the call speaks of {len}"))
}

impl Buffers {
    pub(crate) const fn new() -> Buffers {
        Buffers(Vec::new())
    }

    /// A new buffer's address.
    pub(crate) fn make(&mut self, len: usize) -> Result<usize, Fault> {
        if len == 0 || len > MOST_BYTES {
            return Err(Fault::call(format!("a buffer has 1 to {MOST_BYTES} bytes, and {len} are asked for")));
        }
        if self.0.len() >= MOST_BUFFERS {
            return Err(Fault::call(format!("{MOST_BUFFERS} buffers are in use: give back what is not needed")));
        }
        let mut bytes: Vec<u8> = Vec::new();
        let full = || Fault::memory(format!("there is no room for {len} bytes more"));
        bytes.try_reserve_exact(len).map_err(|_| full())?;
        self.0.try_reserve(1).map_err(|_| full())?;
        bytes.resize(len, 0);
        let address = bytes.as_mut_ptr().expose_provenance();
        self.0.push(Buffer { address, bytes });
        Ok(address)
    }

    pub(crate) fn free(&mut self, address: usize) -> Result<(), Fault> {
        let at = self.find(address)?;
        self.0.swap_remove(at);
        Ok(())
    }

    /// The first `len` bytes of a buffer. Where they are none the address does not matter.
    pub(crate) fn get(&self, address: usize, len: usize) -> Result<&[u8], Fault> {
        if len == 0 {
            return Ok(&[]);
        }
        self.0[self.find(address)?].start(len)
    }

    /// As [`get`](Buffers::get), to be written to.
    pub(crate) fn get_mut(&mut self, address: usize, len: usize) -> Result<&mut [u8], Fault> {
        if len == 0 {
            return Ok(&mut []);
        }
        let at = self.find(address)?;
        self.0[at].start_mut(len)
    }

    /// The first bytes of two buffers: one to read, another to write to.
    pub(crate) fn two(
        &mut self,
        (from, from_len): (usize, usize),
        (to, to_len): (usize, usize),
    ) -> Result<(&[u8], &mut [u8]), Fault> {
        if from_len == 0 {
            return Ok((&[], self.get_mut(to, to_len)?));
        }
        let at = [self.find(from)?, self.find(to)?];
        match self.0.get_disjoint_mut(at) {
            Ok([from, to]) => Ok((from.start(from_len)?, to.start_mut(to_len)?)),
            Err(_) => Err(Fault::call(format!("the buffer at {from} is read, so another one is to be written to"))),
        }
    }

    fn find(&self, address: usize) -> Result<usize, Fault> {
        self.0.iter().position(|b| b.address == address).ok_or_else(|| {
            Fault::call(format!(
                "no buffer is at {address}: an address is what evengap_allocate answered, until evengap_free"
            ))
        })
    }
}
