//! Carrying one record over, by the very code that a unit runs.

use super::Plan;
use packstaff_keeper::carry::{CarryFault, carry};
use packstaff_keeper::table::Table;

/// A record that was carried over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Carried {
    /// The new record. Its generation is 0: whoever saves it counts on.
    pub record: Vec<u8>,
    /// What happened to fields beside being converted.
    pub notices: Vec<Notice>,
}

/// Something that happened to a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Notice {
    /// Offset of the field in the new record.
    pub at: usize,
    /// What.
    pub what: packstaff_keeper::carry::Happened,
}

/// Runs a plan's table on one record of the version come from.
///
/// # Errors
/// What keeper says: the record has another length, or a calibration is outside of its range.
pub fn carry_record(plan: &Plan, record: &[u8]) -> Result<Carried, CarryFault> {
    let malformed = CarryFault::Malformed { at: 0 };
    let table = Table::new(&plan.table).ok_or(malformed)?;
    let mut made = vec![0; usize::from(table.to_len)];
    let mut notices = Vec::new();
    carry(&table, record, None, &mut made, |notice| {
        notices.push(Notice {
            at: notice.to,
            what: notice.what,
        });
    })?;
    Ok(Carried { record: made, notices })
}
