//! The case of the stick's own driver.

use super::Case;
use super::files::Files;
use crate::finding::Finding;
use crate::rig::Rig;
use packstaff_fat::BLOCK;
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};

pub(super) const CASE: Case = Case {
    id: "reader",
    title: "the stick reader reads what is on the stick",
    run: reader,
};

/// Reads blocks of the stick that is in the port's own reader, and compares with its image.
fn reader(rig: &mut Rig, files: &Files) -> Result<String, Finding> {
    let path = files.options.stick.clone().unwrap_or_default();
    let failed = |error: std::io::Error| Finding::Judge(format!("{}: {error}", path.display()));
    let mut image = File::open(&path).map_err(failed)?;
    let blocks = image.metadata().map_err(failed)?.len() / BLOCK as u64;
    let said = rig.ask("find-stick")?;
    let found = said
        .strip_prefix("stick ")
        .and_then(|digits| u64::from_str_radix(digits, 16).ok());
    let Some(found) = found.filter(|found| *found >= blocks) else {
        return Err(Finding::Answer {
            asked: "find-stick".to_owned(),
            answer: said,
            expected: format!("stick {blocks:x}, or more"),
        });
    };
    let mut numbers: Vec<u64> = (0..64).collect();
    numbers.extend((6..40).map(|power| 1_u64 << power));
    numbers.extend(blocks.checked_sub(1));
    numbers.retain(|number| *number < blocks);
    for number in &numbers {
        let mut block = [0; BLOCK];
        image.seek(SeekFrom::Start(number * BLOCK as u64)).map_err(failed)?;
        image.read_exact(&mut block).map_err(failed)?;
        let asked = format!("read-stick {number:x}");
        let answer = rig.ask(&asked)?;
        let expected = format!("block {}", crate::line::digits(&block));
        if answer != expected {
            return Err(Finding::Answer {
                asked,
                answer: answer.chars().take(60).collect(),
                expected: expected.chars().take(60).collect(),
            });
        }
    }
    let asked = format!("read-stick {found:x}");
    match rig.ask(&asked)?.as_str() {
        "failed" => Ok(format!("{} blocks", numbers.len())),
        answer => Err(Finding::Answer {
            asked,
            answer: answer.chars().take(60).collect(),
            expected: "failed: there is no such block".to_owned(),
        }),
    }
}
