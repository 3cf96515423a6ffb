//! Where blocks come from.

use std::io::{self, Read, Seek, SeekFrom};

use packstaff_fat::{BLOCK, Block};

use crate::StickImage;

/// Anything that has blocks of 512 bytes.
pub trait BlockSource {
    /// How many whole blocks there are.
    fn blocks(&self) -> u64;

    /// Reads a block.
    ///
    /// # Errors
    ///
    /// If the block is past the end or cannot be read.
    fn read(&mut self, block: u64) -> io::Result<Block>;
}

impl<S: BlockSource + ?Sized> BlockSource for &mut S {
    fn blocks(&self) -> u64 {
        (**self).blocks()
    }

    fn read(&mut self, block: u64) -> io::Result<Block> {
        (**self).read(block)
    }
}

impl BlockSource for &StickImage {
    fn blocks(&self) -> u64 {
        StickImage::blocks(self)
    }

    fn read(&mut self, block: u64) -> io::Result<Block> {
        self.block(block)
            .ok_or_else(|| past_end(block, StickImage::blocks(self)))
    }
}

/// Blocks of a file, a device or a buffer.
#[derive(Debug)]
pub struct SeekSource<R> {
    inner: R,
    blocks: u64,
}

impl<R: Read + Seek> SeekSource<R> {
    /// Finds how long the source is. A part of a block at its end does not count.
    ///
    /// # Errors
    ///
    /// If the source cannot seek to its end.
    pub fn new(mut inner: R) -> io::Result<Self> {
        let blocks = inner.seek(SeekFrom::End(0))? / BLOCK as u64;
        Ok(Self { inner, blocks })
    }
}

impl<R: Read + Seek> BlockSource for SeekSource<R> {
    fn blocks(&self) -> u64 {
        self.blocks
    }

    fn read(&mut self, block: u64) -> io::Result<Block> {
        if block >= self.blocks {
            return Err(past_end(block, self.blocks));
        }
        let mut bytes = [0; BLOCK];
        self.inner.seek(SeekFrom::Start(block * BLOCK as u64))?;
        self.inner.read_exact(&mut bytes)?;
        Ok(bytes)
    }
}

/// Blocks that a function gives.
pub struct FnSource<F> {
    blocks: u64,
    read: F,
}

impl<F: FnMut(u64) -> io::Result<Block>> FnSource<F> {
    /// A source of so many blocks. The function is called only for blocks that there are.
    pub const fn new(blocks: u64, read: F) -> Self {
        Self { blocks, read }
    }
}

impl<F: FnMut(u64) -> io::Result<Block>> BlockSource for FnSource<F> {
    fn blocks(&self) -> u64 {
        self.blocks
    }

    fn read(&mut self, block: u64) -> io::Result<Block> {
        if block >= self.blocks {
            return Err(past_end(block, self.blocks));
        }
        (self.read)(block)
    }
}

/// A part of another source: a partition, seen as a stick of its own.
pub struct Window<'a> {
    inner: &'a mut dyn BlockSource,
    start: u64,
    blocks: u64,
}

impl<'a> Window<'a> {
    /// The blocks from `start` on, at most `blocks` of them and no more than there are.
    pub fn new(inner: &'a mut dyn BlockSource, start: u64, blocks: u64) -> Self {
        let blocks = inner.blocks().saturating_sub(start).min(blocks);
        Self { inner, start, blocks }
    }

    /// Bytes from a place on; fewer where the part ends or a block cannot be read.
    #[must_use]
    pub fn bytes(&mut self, offset: u64, len: usize) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(len);
        let mut at = offset;
        while bytes.len() < len {
            let Ok(block) = self.read(at / BLOCK as u64) else { break };
            let skip = (at % BLOCK as u64) as usize;
            let take = (BLOCK - skip).min(len - bytes.len());
            bytes.extend_from_slice(&block[skip..skip + take]);
            at += take as u64;
        }
        bytes
    }
}

impl BlockSource for Window<'_> {
    fn blocks(&self) -> u64 {
        self.blocks
    }

    fn read(&mut self, block: u64) -> io::Result<Block> {
        if block >= self.blocks {
            return Err(past_end(block, self.blocks));
        }
        self.inner.read(self.start + block)
    }
}

/// Counts what is read.
pub struct Counted<S> {
    inner: S,
    reads: u64,
}

impl<S: BlockSource> Counted<S> {
    /// Nothing is read yet.
    pub const fn new(inner: S) -> Self {
        Self { inner, reads: 0 }
    }

    /// Blocks that were read so far; one that is read twice counts twice.
    pub const fn reads(&self) -> u64 {
        self.reads
    }
}

impl<S: BlockSource> BlockSource for Counted<S> {
    fn blocks(&self) -> u64 {
        self.inner.blocks()
    }

    fn read(&mut self, block: u64) -> io::Result<Block> {
        self.reads += 1;
        self.inner.read(block)
    }
}

fn past_end(block: u64, blocks: u64) -> io::Error {
    io::Error::new(
        io::ErrorKind::UnexpectedEof,
        format!("there are {blocks} blocks, so there is no block {block}"),
    )
}
