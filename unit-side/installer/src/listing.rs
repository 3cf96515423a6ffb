//! What the stick holds, as the owner sees it.

use crate::reason::Reason;
use packstaff_envelope::VersionNumbers;

/// Rows that a listing can hold.
pub const ROWS: usize = 8;

/// How an offered image relates to the one in the slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Relation {
    /// The unit has no image that could be started.
    First,
    /// A later version.
    Newer,
    /// The same version with another content.
    Sibling,
    /// The very image that is installed.
    Installed,
    /// An earlier version.
    Older,
}

/// An update file that this unit would install.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Offer {
    /// The version, from the signed manifest.
    pub version: VersionNumbers,
    /// The issue.
    pub sequence: u64,
    /// Size of the image in bytes.
    pub image_size: u32,
    /// How it relates to what is installed.
    pub relation: Relation,
    /// Digest of the signed manifest: holds the owner's choice to this very file.
    pub manifest: [u8; 32],
}

/// What the unit thinks of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Finding {
    /// It can be installed.
    Offered(Offer),
    /// It cannot.
    Refused(Reason),
}

/// A file on the stick that is, or looks like, an update.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Row {
    /// The file, as its directory entry describes it.
    pub file: packstaff_fat::Entry,
    /// What the unit thinks of it.
    pub finding: Finding,
}

impl Row {
    /// The offer, if it is one.
    pub const fn offer(&self) -> Option<&Offer> {
        match &self.finding {
            Finding::Offered(offer) => Some(offer),
            Finding::Refused(_) => None,
        }
    }
}

/// The update files of a stick, in the order of its directory.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Listing {
    rows: [Option<Row>; ROWS],
    /// Files that looked like updates and found no row.
    pub left_out: u16,
}

impl Listing {
    /// No rows.
    pub const EMPTY: Self = Self {
        rows: [None; ROWS],
        left_out: 0,
    };

    /// As [`Listing::EMPTY`], made at run time.
    pub fn empty() -> Self {
        Self {
            rows: core::array::from_fn(|_| None),
            left_out: 0,
        }
    }

    /// Forgets all rows.
    pub fn clear(&mut self) {
        for row in &mut self.rows {
            *row = None;
        }
        self.left_out = 0;
    }

    /// The rows that are filled.
    pub fn rows(&self) -> impl Iterator<Item = (usize, &Row)> {
        self.rows
            .iter()
            .enumerate()
            .filter_map(|(index, row)| Some((index, row.as_ref()?)))
    }

    /// The offers among them.
    pub fn offers(&self) -> impl Iterator<Item = (usize, &Row, &Offer)> {
        self.rows().filter_map(|(index, row)| Some((index, row, row.offer()?)))
    }

    /// The row at `index`.
    pub fn row(&self, index: usize) -> Option<&Row> {
        self.rows.get(index)?.as_ref()
    }

    /// The first refusal, to tell an owner whose stick offers nothing.
    pub fn first_refusal(&self) -> Option<Reason> {
        self.rows().find_map(|(_, row)| match row.finding {
            Finding::Refused(reason) => Some(reason),
            Finding::Offered(_) => None,
        })
    }

    /// Adds a row. When the listing is full, an offer takes the place of the last refusal: an owner who collects files
    /// must still be able to pick a good one.
    pub fn push(&mut self, row: Row) {
        if let Some(free) = self.rows.iter_mut().find(|slot| slot.is_none()) {
            *free = Some(row);
            return;
        }
        self.left_out = self.left_out.saturating_add(1);
        if row.offer().is_some()
            && let Some(refused) = self
                .rows
                .iter_mut()
                .rev()
                .find(|slot| slot.is_some_and(|held| held.offer().is_none()))
        {
            *refused = Some(row);
        }
    }
}
