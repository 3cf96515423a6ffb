//! A layout file that is begun from a build.

use packstaff_bench::settings::ImportedLayout;
use std::fmt::Write;

/// The text of the layout file, with what a person has to look at in its comments.
pub fn layout_file(imported: &ImportedLayout) -> String {
    let mut text = String::from(
        "# Offsets and types are the build's. Add what it cannot know: units, scales, ranges, defaults, which fields are\n# calibration, a counter or a secret, and what holds a constant, the generation or a check value.\n",
    );
    for note in &imported.notes {
        let _ = writeln!(text, "# Look: {note}");
    }
    text.push_str(&imported.layout.to_text());
    text
}
