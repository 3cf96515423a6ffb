//! Keys: what there is, what was done, and what a maker must know before there are units in the field.

use crate::text::hex;
use packstaff_bench::keys::{Listing, PublicKey};
use packstaff_product::keyring::GenerationState;
use std::fmt::Write;
use std::path::Path;

/// The keys, line by line.
pub fn listing(listing: &Listing) -> String {
    let keys = &listing.keys;
    let mut text = format!("signing key  {}  made {}\n", keys.signer, keys.signer_created);
    // Writing to a string does not fail.
    if let Some(tree) = &keys.tree {
        let left = match &listing.signatures_left {
            Some(Ok(left)) => format!("{left} of {} signatures left", tree.capacity),
            Some(Err(why)) => format!("cannot sign: {why}"),
            None => format!("{} signatures in all", tree.capacity),
        };
        let _ = writeln!(text, "HSS-LMS key  {}  made {}, {left}", tree.fingerprint, tree.created);
    }
    for generation in &keys.generations {
        let state = match generation.state {
            GenerationState::Serving => "serving",
            GenerationState::Retired => "retired",
        };
        let _ = writeln!(
            text,
            "generation   {}  {}  made {}, {state}",
            generation.id, generation.fingerprint, generation.created
        );
    }
    for recipient in &keys.recipients {
        let _ = writeln!(text, "opens for    {recipient}");
    }
    text
}

/// A keyring was made.
pub fn created(path: &Path, made: &Listing) -> String {
    format!(
        "wrote {}\n\n{}\n{WHAT_LOSING_THE_KEYRING_MEANS}\n",
        path.display(),
        listing(made)
    )
}

/// A generation was added.
pub fn added(generation: &str, now: &Listing) -> String {
    format!(
        "{}\nTo make update files for it, add \"{generation}\" to `serve` and a [[generation]] to product.toml.\n",
        listing(now)
    )
}

/// A generation was retired.
pub fn retired(generation: &str, now: &Listing) -> String {
    format!(
        "{}\nUnits of generation {generation} can read no update file that is made from now on. Take \"{generation}\" out of `serve` in product.toml.\n",
        listing(now)
    )
}

/// An HSS-LMS key was made.
pub fn tree_added(now: &Listing) -> String {
    format!("{}\n{WHAT_RESTORING_MEANS}", listing(now))
}

/// The keyring was backed up.
pub fn backed_up(to: &Path) -> String {
    format!("wrote {}: it opens, and holds the same keys\n", to.display())
}

/// A public key, in the form that ports and other programs take.
pub fn public_key(key: &PublicKey) -> String {
    match key {
        PublicKey::Ed25519 { pem } => pem.clone(),
        PublicKey::HssLms { raw, cose } => format!(
            "# The HSS-LMS public key (RFC 8554, 6.1), 60 bytes: what units trust\n{}\n# The same as a COSE_Key (RFC 8778, 4)\n{}\n",
            hex(raw),
            hex(cose)
        ),
    }
}

/// Plain text about what it means to lose the keyring, or to let others have it.
pub const WHAT_LOSING_THE_KEYRING_MEANS: &str = "\
The keyring holds two kinds of keys.

The signing key is what makes a unit accept a file. Units hold only its public half.
  - If you lose it, no unit in the field can ever be updated again: not by you, not by anybody. Nothing can bring it
    back. Only a unit that is opened and loaded anew with another public key can take updates after that.
  - If somebody else gets it, they can make files that every unit accepts. Treat it as an emergency: stop sending files,
    tell your owners, and ask whether the law where you sell gives you hours and not days to report it.

The unit keys let units read the files. Every unit of a generation has the same one.
  - If you lose one, units of that generation can no longer read new files.
  - If somebody else gets one, they can read the files made for that generation, now and later. They cannot make a file
    that a unit accepts. Begin a new generation for the units you build from now on.

The passphrase or identity that opens the keyring is as good as the keyring itself.
  - If you forget it, the keyring is lost.

So, before the first unit leaves:
  1. Back the keyring up to two media that are not in the same building, and not on a machine in daily use.
  2. Write the passphrase down and keep it apart from them: in a safe, or in a sealed envelope with somebody you trust.
  3. Try a back-up once a year: a back-up that was never opened is a hope.
  4. Back up again after every new generation: an old back-up does not have its key.
";

/// What a maker must know before a key with a count is backed up.
pub const WHAT_RESTORING_MEANS: &str = "\
The HSS-LMS key is a set of one-time keys. One that signs twice lets anybody make files that your units accept.
Packstaff counts them, and no count may ever go back:
  - Sign on one machine only. Two copies of this keyring on two machines know nothing of each other.
  - Keep the file that ends in .used out of version control and out of back-ups; the keyring itself belongs in them.
  - After you have restored or moved the product folder, the machine or a snapshot of it, run `packstaff keys skip`
    before you sign, with a number that is safely more than the signatures that may have been made since.
";
