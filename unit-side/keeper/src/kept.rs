//! What is kept aside: tables that lead back from the newest version's layout, and, while an older version is installed, the
//! newer one's settings.
//!
//! | bytes | field |
//! | --- | --- |
//! | 2 | length of the tables |
//! | | the tables, each behind its length in two bytes |
//! | the rest | the settings of the layout that the record says; none where there is nothing that was left |

use crate::table::Table;

/// Splits bytes at a length that stands before them in two bytes.
fn counted(bytes: &[u8]) -> Option<(&[u8], &[u8])> {
    let (len, rest) = bytes.split_first_chunk::<2>()?;
    rest.split_at_checked(usize::from(u16::from_le_bytes(*len)))
}

/// What is kept, taken apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Kept<'a> {
    /// The ways back.
    pub(crate) tables: &'a [u8],
    /// The newer version's settings, or nothing.
    pub(crate) payload: &'a [u8],
}

impl<'a> Kept<'a> {
    pub(crate) fn new(bytes: &'a [u8]) -> Self {
        let (tables, payload) = counted(bytes).unwrap_or((&[], &[]));
        Self { tables, payload }
    }

    /// The table from one layout to another.
    pub(crate) fn table(self, from: u16, to: u16) -> Option<Table<'a>> {
        self.all().find(|table| table.from == from && table.to == to)
    }

    /// Whether a version of this layout is led to: then what is kept comes from a newer one.
    pub(crate) fn leads_to(self, layout: u16) -> bool {
        self.all().any(|table| table.to == layout)
    }

    fn all(self) -> impl Iterator<Item = Table<'a>> {
        let mut rest = self.tables;
        core::iter::from_fn(move || {
            let (table, behind) = counted(rest)?;
            rest = behind;
            Some(table)
        })
        .filter_map(Table::new)
    }
}
