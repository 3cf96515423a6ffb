//! The owner's sheet: one page of HTML, complete in itself, that goes out with every update.
//!
//! [`render`] is a pure function. The page holds no script, no link and nothing that a browser would have to fetch; it
//! prints on A4 and on Letter, and can be read on a telephone. Its reader is not technical, and may be about to work near
//! something dangerous: cautions come first, and durations are rounded (see `duration`).
//!
//! The frame of the page is English. The maker's texts stand in it as they are.

mod cautions;
mod codes;
mod duration;
mod page;
mod steps;
mod trouble;
mod units;

pub use cautions::cautions_for;
pub use codes::codes;
pub use duration::typical_and_longest;

use packstaff_product::Hazard;
use packstaff_product::ledger::ReleaseKind;

/// All that a sheet says.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet<'a> {
    /// Who sells the unit.
    pub maker: &'a str,
    /// How to reach the maker: an address that a person answers.
    pub contact: &'a str,
    /// The product's name.
    pub product: &'a str,
    /// The version that this update brings.
    pub version: &'a str,
    /// The day of the release, as the owner should read it.
    pub date: &'a str,
    /// Why there is an update.
    pub kind: ReleaseKind,
    /// One entry for each board revision that has a file.
    pub boards: Vec<BoardPart<'a>>,
    /// What the product can do to people.
    pub hazards: &'a [Hazard],
    /// Versions to which the owner may go back. Empty: none is offered.
    pub going_back: Vec<String>,
    /// What is new, one sentence each.
    pub changes: &'a [String],
    /// What becomes of settings and calibration.
    pub settings: SettingsNote<'a>,
    /// What the unit shows, in the order in which it happens.
    pub screens: Vec<Screen<'a>>,
    /// What the unit shows once the update is finished. Empty: the sheet points to the table of screens alone.
    pub done_shows: &'a str,
    /// The codes that the unit can show, and what to do about each.
    pub codes: Vec<CodeRow>,
    /// What was rehearsed, in one honest sentence.
    pub proof: Option<String>,
    /// How to see which board revision a unit has.
    pub how_to_find_board: &'a str,
    /// How to see which version a unit runs. Empty: that step is left out.
    pub how_to_see_version: &'a str,
    /// What to disconnect before an update, in the maker's words. Empty: the sheet says "whatever the unit controls".
    pub disconnect: &'a str,
    /// How to start the update once the stick is ready, one action each.
    pub how_to_start_update: Vec<String>,
    /// What to check afterwards, before anything is connected again, one action each.
    pub after_update: Vec<String>,
    /// Month and year until which the maker means to supply security fixes, if stated.
    pub supported_until: Option<&'a str>,
}

/// The file for one board revision.
#[derive(Clone, Debug, PartialEq)]
pub struct BoardPart<'a> {
    /// The board revision, as printed on the board or the case.
    pub revision: &'a str,
    /// The update file's name.
    pub file_name: &'a str,
    /// SHA-256 digest (FIPS 180-4) of the update file.
    pub sha256: [u8; 32],
    /// Size of the update file in bytes.
    pub size: u64,
    /// How long the update takes.
    pub time: Times<'a>,
    /// After a cut in the middle of an update it starts without a stick: with the version it had, or with the new one.
    pub starts_alone: bool,
    /// Versions that a unit may run before this update. Empty: none was checked.
    pub from_versions: Vec<String>,
}

/// How long something takes, in seconds. What is negative or no finite number counts as not known.
#[derive(Clone, Debug, PartialEq)]
pub struct Times<'a> {
    /// With typical parts.
    pub typical_s: f64,
    /// With the slowest parts that their data allow.
    pub longest_s: f64,
    /// The same for each part of the work, in order.
    pub phases: Vec<Phase<'a>>,
}

/// One part of the work.
#[derive(Clone, Debug, PartialEq)]
pub struct Phase<'a> {
    /// What happens, in plain words.
    pub name: &'a str,
    /// Seconds with typical parts.
    pub typical_s: f64,
    /// Seconds with the slowest parts that their data allow.
    pub longest_s: f64,
}

/// What becomes of settings and calibration, one sentence each.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SettingsNote<'a> {
    /// What becomes of the owner's settings.
    pub settings: &'a [String],
    /// What becomes of the unit's calibration.
    pub calibration: &'a [String],
}

/// One thing that the unit can show.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Screen<'a> {
    /// When it shows it.
    pub when: &'a str,
    /// What it shows, word for word.
    pub shows: &'a str,
    /// What that means for the owner.
    pub means: &'a str,
}

/// One code that the unit can show.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CodeRow {
    /// The code.
    pub code: String,
    /// What it means.
    pub meaning: String,
    /// What to do.
    pub remedy: String,
}

/// Makes the page.
///
/// Every text of `sheet` stands in it as text: markup in it is escaped. Characters that HTML does not allow (WHATWG HTML
/// Standard 13.2.3.5: control characters and noncharacters) become U+FFFD.
pub fn render(sheet: &Sheet<'_>) -> String {
    let page = page::page(sheet).into_string();
    page.replace(is_not_allowed, "\u{FFFD}")
}

fn is_not_allowed(c: char) -> bool {
    let noncharacter = matches!(c, '\u{FDD0}'..='\u{FDEF}') || u32::from(c) & 0xFFFE == 0xFFFE;
    (c.is_control() && !matches!(c, '\t' | '\n')) || noncharacter
}
