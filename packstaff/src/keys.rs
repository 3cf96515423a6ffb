//! The `keys` verb.

use crate::args::{Keys, KeysAct, Secret};
use crate::say;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff::clock;
use packstaff::machine::one_time_folder;
use packstaff::progress::Progress;
use packstaff::told::ForPeople;
use packstaff_bench::open::Bench;
use packstaff_product::keyring::{GenerationState, WHAT_LOSING_THE_KEYRING_MEANS, WHAT_RESTORING_MEANS};
use packstaff_product::{Access, KeyringFile, NewKeyring, SignatureKind, write_new};
use packstaff_words::text::hex;
use std::fmt::Write;
use std::path::Path;

pub(crate) fn run(ask: Keys) -> Result<()> {
    match ask.act {
        KeysAct::Create { product, secret } => create(&product, &secret),
        KeysAct::List { product, secret } => {
            let (bench, keyring) = open(&product, &secret)?;
            say(&listing(&bench, &keyring))
        }
        KeysAct::Add {
            product,
            generation,
            secret,
        } => {
            let (bench, mut keyring) = open(&product, &secret)?;
            keyring.add_generation(&generation, clock::today()?).into_diagnostic()?;
            say(&listing(&bench, &keyring))?;
            say(&format!(
                "\nTo make update files for it, add \"{generation}\" to `serve` and a [[generation]] to product.toml.\n"
            ))
        }
        KeysAct::Retire {
            product,
            generation,
            secret,
        } => {
            let (bench, mut keyring) = open(&product, &secret)?;
            keyring.retire_generation(&generation).into_diagnostic()?;
            say(&listing(&bench, &keyring))?;
            say(&format!(
                "\nUnits of generation {generation} can read no update file that is made from now on. Take \"{generation}\" out of `serve` in product.toml.\n"
            ))
        }
        KeysAct::AddTree {
            product,
            height,
            digits,
            secret,
        } => {
            let (bench, mut keyring) = open(&product, &secret)?;
            let progress = Progress::new(false);
            let say_done = |done, all| progress.say(&format!("computing the tree, {done} of {all}"));
            let made = keyring.add_tree_key(
                height,
                digits,
                clock::today()?,
                &one_time_folder()
                    .ok_or(packstaff_bench::OpenError::NoMachineFolder)
                    .told()?,
                &say_done,
            );
            progress.done();
            made.into_diagnostic().wrap_err("no HSS-LMS key was made")?;
            say(&format!("{}\n{WHAT_RESTORING_MEANS}", listing(&bench, &keyring)))
        }
        KeysAct::Skip { product, by, secret } => {
            let (bench, keyring) = open(&product, &secret)?;
            let (count, recorded) = bench.one_time_count(&keyring).told()?;
            count.skip(recorded, by).into_diagnostic()?;
            say(&listing(&bench, &keyring))
        }
        KeysAct::Export {
            product,
            kind,
            out,
            secret,
        } => {
            let (_, keyring) = open(&product, &secret)?;
            let text = public_key(&keyring, kind)?;
            match out {
                None => say(&text),
                Some(path) => {
                    write_new(&path, text.as_bytes(), Access::Shared).into_diagnostic()?;
                    say(&format!("wrote {}\n", path.display()))
                }
            }
        }
        KeysAct::BackUp { product, to, secret } => {
            let (_, keyring) = open(&product, &secret)?;
            keyring
                .back_up(&to)
                .into_diagnostic()
                .wrap_err("the keyring could not be backed up")?;
            say(&format!("wrote {}: it opens, and holds the same keys\n", to.display()))
        }
    }
}

fn open(product: &Path, secret: &Secret) -> Result<(Bench, KeyringFile)> {
    let bench = packstaff::machine::open(product).told()?;
    let keyring = bench.keyring(&mut secret.unlock()).told()?;
    Ok((bench, keyring))
}

fn create(product: &Path, secret: &Secret) -> Result<()> {
    let bench = packstaff::machine::open(product).told()?;
    let path = bench.keyring_path();
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder)
            .into_diagnostic()
            .wrap_err_with(|| format!("{} cannot be made", folder.display()))?;
    }
    let new = NewKeyring {
        date: clock::today()?,
        first_generation: bench.product.keys.new_units.clone(),
        also_for: Vec::new(),
        scrypt_work: None,
    };
    let keyring = KeyringFile::create(&path, &new, &mut secret.unlock())
        .into_diagnostic()
        .wrap_err("no keyring was made")?;
    say(&format!(
        "wrote {}\n\n{}\n{WHAT_LOSING_THE_KEYRING_MEANS}\n",
        path.display(),
        listing(&bench, &keyring)
    ))
}

/// A public key, in the form that ports and other programs take.
fn public_key(keyring: &KeyringFile, kind: SignatureKind) -> Result<String> {
    let keyring = keyring.keyring();
    match kind {
        SignatureKind::Ed25519 => keyring.public_key_pem().into_diagnostic(),
        SignatureKind::HssLms => {
            let key = keyring.tree_key().into_diagnostic()?;
            Ok(format!(
                "# The HSS-LMS public key (RFC 8554, 6.1), 60 bytes: what units trust\n{}\n# The same as a COSE_Key (RFC 8778, 4)\n{}\n",
                hex(key.public_key()),
                hex(&key.cose_key())
            ))
        }
    }
}

fn listing(bench: &Bench, keyring: &KeyringFile) -> String {
    let listing = keyring.keyring().listing();
    let mut text = format!("signing key  {}  made {}\n", listing.signer, listing.signer_created);
    if let Some(tree) = &listing.tree {
        let left = bench
            .one_time_count(keyring)
            .and_then(|(count, recorded)| Ok(count.left(recorded)?));
        let left = match left {
            Ok(left) => format!("{left} of {} signatures left", tree.capacity),
            Err(why) => format!("cannot sign: {why}"),
        };
        let _ = writeln!(text, "HSS-LMS key  {}  made {}, {left}", tree.fingerprint, tree.created);
    }
    for generation in &listing.generations {
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
    for recipient in &listing.recipients {
        let _ = writeln!(text, "opens for    {recipient}");
    }
    text
}
