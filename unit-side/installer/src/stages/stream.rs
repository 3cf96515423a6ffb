//! A file of the stick, as a stream of bytes.

use crate::reason::Reason;
use crate::request::Reply;
use packstaff_fat::{DataBlock, Entry, FileReader, Step, Volume};

/// Reads one file from its start, a block at a time.
#[derive(Clone, PartialEq, Eq, Hash)]
pub(super) struct FileStream {
    reader: FileReader,
    awaited: Awaited,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Awaited {
    Nothing,
    Table,
    Data(DataBlock),
}

/// What the stream has for its reader.
pub(super) enum Pulled<'b> {
    /// First this block must be read.
    Read(u64),
    /// The next bytes of the file.
    Data(&'b [u8]),
    /// The file is over.
    End,
}

impl FileStream {
    pub(super) fn open(volume: &Volume, file: &Entry) -> Self {
        Self {
            reader: volume.file(file),
            awaited: Awaited::Nothing,
        }
    }

    /// Goes on: with the reply to the last [`Pulled::Read`], or with none at the start and after [`Pulled::Data`].
    pub(super) fn pull<'b>(&mut self, volume: &Volume, reply: Option<Reply<'b>>) -> Result<Pulled<'b>, Reason> {
        let block = match (self.awaited, reply) {
            (Awaited::Nothing, _) => None,
            (Awaited::Table, Some(Reply::Block(block))) => Some(block),
            (Awaited::Data(wanted), Some(Reply::Block(block))) => {
                self.awaited = Awaited::Nothing;
                return Ok(Pulled::Data(block.get(..usize::from(wanted.len)).unwrap_or(block)));
            }
            _ => return Err(Reason::StickUnreadable),
        };
        self.awaited = match self.reader.step(volume, block)? {
            Step::Read(number) => {
                self.awaited = Awaited::Table;
                return Ok(Pulled::Read(number));
            }
            Step::Ready(Some(data)) => Awaited::Data(data),
            Step::Ready(None) => return Ok(Pulled::End),
        };
        match self.awaited {
            Awaited::Data(data) => Ok(Pulled::Read(data.block)),
            _ => Ok(Pulled::End),
        }
    }
}
