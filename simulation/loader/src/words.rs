//! What is claimed of a maker's own loader, in words: as of our installer, but where that would speak of what such a loader has not.

use packstaff_rehearsal::claims::{Claim, Wording};

/// A claim about a maker's own loader, in words.
pub const fn wording(claim: Claim) -> Wording {
    let ours = claim.wording();
    match claim {
        Claim::Arrives => Wording {
            title: "A good stick leads to its image",
            statement: "With a good stick in place, the unit ends up running the image that the stick installs.",
            ..ours
        },
        Claim::KeepsOut => Wording {
            title: "Nothing else is changed",
            statement: "Nothing is changed outside the ranges that unit.toml says the loader may change.",
            consequence: "The loader itself, or something else that an install has no business with, is changed. If the loader is lost, \
                          so is the unit.",
        },
        Claim::Sane => Wording {
            statement: "The loader asks only what the part can do, and comes to an end.",
            consequence: "The loader asks for what the part cannot do, breaks off, or does not come to an end. What a real unit makes of \
                          it, nobody can say.",
            ..ours
        },
        _ => ours,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Our installer's words for its own parts do not slip into an account of somebody else's loader.
    #[test]
    fn nothing_speaks_of_our_installer() {
        let judged = [
            Claim::Authentic,
            Claim::Arrives,
            Claim::Solid,
            Claim::Harmless,
            Claim::KeepsOut,
            Claim::Sane,
            Claim::FloorRises,
        ];
        for claim in judged {
            let Wording {
                title,
                statement,
                consequence,
            } = wording(claim);
            for ours in ["nstaller", "escriptor", "floor", "picked"] {
                let words = [title, statement, consequence].join(" ");
                assert!(!words.contains(ours), "{claim:?}: {words}");
            }
        }
    }
}
