//! What the stick holds and what is installed, as a C caller shows them.

use crate::request::code;
use crate::types::{Code, NAME_LEN, Release, Row, phases, relations};
use packstaff_installer::{Finding, Phase, Relation};

const NO_RELEASE: Release = Release {
    issue: 0,
    version: [0; 3],
    version_count: 0,
    image_size: 0,
};

pub(crate) fn row(row: &packstaff_installer::Row) -> Row {
    let mut name = [0; NAME_LEN];
    // The last place stays 0: it ends the text.
    let places = name.iter_mut().take(NAME_LEN - 1);
    // The shown form is ASCII.
    places
        .zip(row.file.short.chars())
        .for_each(|(place, letter)| *place = letter as u8);
    let refused = Row {
        release: NO_RELEASE,
        relation: 0,
        code: Code::default(),
        name,
        manifest: [0; 32],
    };
    match &row.finding {
        Finding::Refused(reason) => Row {
            code: code(*reason),
            ..refused
        },
        Finding::Offered(offer) => Row {
            release: Release {
                issue: offer.sequence,
                version: offer.version.padded(),
                version_count: u32::from(offer.version.count()),
                image_size: offer.image_size,
            },
            relation: match offer.relation {
                Relation::First => relations::FIRST,
                Relation::Newer => relations::NEWER,
                Relation::Sibling => relations::SIBLING,
                Relation::Installed => relations::INSTALLED,
                Relation::Older => relations::OLDER,
            },
            manifest: offer.manifest,
            ..refused
        },
    }
}

pub(crate) fn installed(descriptor: &packstaff_installer::Descriptor) -> Release {
    Release {
        issue: descriptor.sequence,
        version: descriptor.version.padded(),
        version_count: u32::from(descriptor.version.count()),
        image_size: descriptor.image_size,
    }
}

pub(crate) const fn phase(phase: Phase) -> u32 {
    match phase {
        Phase::Inspect => phases::INSPECT,
        Phase::Survey => phases::SURVEY,
        Phase::Owner => phases::OWNER,
        Phase::Check => phases::CHECK,
        Phase::Erase => phases::ERASE,
        Phase::Program => phases::PROGRAM,
        Phase::Confirm => phases::CONFIRM,
        Phase::Start => phases::START,
    }
}
