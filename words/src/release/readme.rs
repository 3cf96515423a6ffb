//! The short text on a stick, for owners.

use packstaff_bench::release::SHEET;
use packstaff_product::{Product, Version};

/// Where the owner's sheet is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SheetIs {
    /// On the same stick.
    OnTheStick,
    /// Somewhere else: it came with the update.
    Elsewhere,
}

/// The short text for owners, of one or several versions: each with the board revision and the name of its files. Lines end as every
/// system reads them.
pub fn readme(product: &Product, releases: &[(&Version, Vec<(&str, &str)>)], sheet: SheetIs) -> String {
    let mut lines = Vec::new();
    match releases {
        [(version, _)] => lines.push(format!("{} {version}, by {}", product.name, product.maker.name)),
        _ => lines.push(format!("{}, by {}", product.name, product.maker.name)),
    }
    for (version, files) in releases {
        lines.push(String::new());
        if releases.len() > 1 {
            lines.push(format!("Version {version}:"));
        }
        for (revision, name) in files {
            let recognise = product.board(revision).map_or("", |board| board.recognise.as_str());
            lines.push(format!("{name} is for board {revision}. {recognise}"));
        }
    }
    if releases.len() > 1 {
        lines.push(String::new());
    }
    lines.push("A unit takes the file that is for it, and refuses the others.".to_owned());
    lines.push(String::new());
    lines.push(match sheet {
        SheetIs::OnTheStick => format!("Open {SHEET} in a web browser and read all of it before you begin."),
        SheetIs::Elsewhere => "Read the sheet that came with this update before you begin.".to_owned(),
    });
    lines.push(format!("Questions: {}", product.maker.contact));
    lines.into_iter().map(|line| line + "\r\n").collect()
}
