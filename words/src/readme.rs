//! The short text on a stick: which file is for whom.

use packstaff_bench::stick_spec::SHEET;
use packstaff_product::{Product, Version};

/// A version on a stick.
#[derive(Clone, Debug)]
pub struct OnStick<'a> {
    /// The version.
    pub version: &'a Version,
    /// Board revision and name of each of its files.
    pub files: Vec<(&'a str, &'a str)>,
}

/// Where the owner finds the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SheetPlace {
    /// On the same stick.
    OnStick,
    /// Wherever the update came from.
    Apart,
}

/// The short text for owners. Lines end as every system reads them.
pub fn readme(product: &Product, versions: &[OnStick<'_>], sheet: SheetPlace) -> String {
    let mut lines = Vec::new();
    match versions {
        [only] => lines.push(format!("{} {}, by {}", product.name, only.version, product.maker.name)),
        _ => lines.push(format!("{}, by {}", product.name, product.maker.name)),
    }
    for held in versions {
        lines.push(String::new());
        if versions.len() > 1 {
            lines.push(format!("Version {}:", held.version));
        }
        for (revision, name) in &held.files {
            let recognise = product.board(revision).map_or("", |board| board.recognise.as_str());
            lines.push(format!("{name} is for board {revision}. {recognise}"));
        }
    }
    if versions.len() > 1 {
        lines.push(String::new());
    }
    lines.push("A unit takes the file that is for it, and refuses the others.".to_owned());
    lines.push(String::new());
    lines.push(match sheet {
        SheetPlace::OnStick => format!("Open {SHEET} in a web browser and read all of it before you begin."),
        SheetPlace::Apart => "Read the sheet that came with this update before you begin.".to_owned(),
    });
    lines.push(format!("Questions: {}", product.maker.contact));
    lines.into_iter().map(|line| line + "\r\n").collect()
}
