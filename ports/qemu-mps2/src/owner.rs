//! The owner, and the two lines of sixteen characters that the unit shows: a script stands for the one, the console for the other.

use crate::flash::Cut;
use crate::semihost::{File, Mode, print, print_number};
use packstaff_envelope::VersionNumbers;
use packstaff_installer::{Listing, Reason, Relation};

const LINE: usize = 16;

/// What is going to happen: `bench.txt` in the emulator's working folder, a word and its numbers on each line.
///
/// | line | |
/// | --- | --- |
/// | `pick 2 1` | the owner picks version 2.1, if it is offered; otherwise nothing |
/// | `cut 17 3` | the supply goes at the 17th change of flash, after 3 words of it |
/// | `overlap` | the core goes on while flash is at work, as it can where code is not fetched from that bank |
/// | `measure` | ticks are told at the end |
/// | `stack` | the deepest stack too; the stack is painted before each step, which takes its time |
#[derive(Clone, Copy, Default)]
pub struct Script {
    /// The version that the owner wants.
    pub wants: Option<VersionNumbers>,
    /// A power cut.
    pub cut: Option<Cut>,
    /// Whether the core goes on while flash is at work.
    pub overlap: bool,
    /// Whether figures are told.
    pub measure: bool,
    /// Whether the stack is painted.
    pub stack: bool,
}

impl Script {
    /// Reads the script; without one, the owner wants nothing and nothing happens.
    pub fn read() -> Self {
        let mut script = Self::default();
        let mut text = [0; 256];
        let Some(file) = File::open(c"bench.txt", Mode::Read) else {
            return script;
        };
        let len = file.read_at(0, &mut text);
        for line in text.get(..len).unwrap_or_default().split(|byte| *byte == b'\n') {
            let mut words = line.split(|byte| *byte == b' ');
            let word = words.next().unwrap_or_default();
            let mut numbers = [0; 3];
            let mut count = 0;
            for (place, number) in numbers.iter_mut().zip(words.filter_map(number)) {
                *place = number;
                count += 1;
            }
            let [first, second, _] = numbers;
            match word {
                b"pick" => script.wants = numbers.get(..count).and_then(VersionNumbers::new),
                b"cut" => {
                    script.cut = Some(Cut {
                        change: first,
                        words: second,
                    });
                }
                b"overlap" => script.overlap = true,
                b"measure" => script.measure = true,
                b"stack" => script.stack = true,
                _ => {}
            }
        }
        script
    }

    /// What the owner answers.
    pub fn choose(&self, listing: &Listing) -> Option<usize> {
        show_offers(listing);
        let wanted = self.wants?;
        listing
            .offers()
            .find(|(_, _, offer)| offer.version == wanted)
            .map(|(index, _, _)| index)
    }
}

fn number(word: &[u8]) -> Option<u32> {
    word.iter().try_fold(0_u32, |number, digit| {
        let digit = digit.checked_sub(b'0').filter(|digit| *digit < 10)?;
        number.checked_mul(10)?.checked_add(u32::from(digit))
    })
}

fn show_offers(listing: &Listing) {
    for (_, _, offer) in listing.offers() {
        print("display: ");
        show_version(offer.version);
        print(match offer.relation {
            Relation::First => " first",
            Relation::Newer => " newer",
            Relation::Sibling => " other",
            Relation::Installed => " same",
            Relation::Older => " older",
        });
        print(" ?\n");
    }
}

fn show_version(version: VersionNumbers) {
    for (index, number) in version.as_slice().iter().enumerate() {
        if index > 0 {
            print(".");
        }
        print_number(*number);
    }
}

/// Shows a code: `display: not used N3`.
pub fn show_reason(what: &str, reason: Reason) {
    let code = reason.code();
    let mut letter = [0; 4];
    debug_assert!(what.len() + 5 <= LINE);
    print("display: ");
    print(what);
    print(" ");
    print(code.letter.encode_utf8(&mut letter));
    print_number(u32::from(code.number));
    print("\n");
}
