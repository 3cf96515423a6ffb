//! The `keys` verb.

use crate::args::{Keys, KeysAct, Secret};
use crate::say;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff::bench::Bench;
use packstaff::clock;
use product::keyring::{GenerationState, WHAT_LOSING_THE_KEYRING_MEANS};
use product::{Access, KeyringFile, NewKeyring, write_new};
use std::fmt::Write;
use std::path::Path;

pub(crate) fn run(ask: Keys) -> Result<()> {
    match ask.act {
        KeysAct::Create { product, secret } => create(&product, &secret),
        KeysAct::List { product, secret } => {
            let (_, keyring) = open(&product, &secret)?;
            say(&listing(&keyring))
        }
        KeysAct::Add {
            product,
            generation,
            secret,
        } => {
            let (_, mut keyring) = open(&product, &secret)?;
            keyring.add_generation(&generation, clock::today()?).into_diagnostic()?;
            say(&listing(&keyring))?;
            say(&format!(
                "\nTo make update files for it, add \"{generation}\" to `serve` and a [[generation]] to product.toml.\n"
            ))
        }
        KeysAct::Retire {
            product,
            generation,
            secret,
        } => {
            let (_, mut keyring) = open(&product, &secret)?;
            keyring.retire_generation(&generation).into_diagnostic()?;
            say(&listing(&keyring))?;
            say(&format!(
                "\nUnits of generation {generation} can read no update file that is made from now on. Take \"{generation}\" out of `serve` in product.toml.\n"
            ))
        }
        KeysAct::Export { product, out, secret } => {
            let (_, keyring) = open(&product, &secret)?;
            let pem = keyring.keyring().public_key_pem().into_diagnostic()?;
            match out {
                None => say(&pem),
                Some(path) => {
                    write_new(&path, pem.as_bytes(), Access::Shared).into_diagnostic()?;
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
    let bench = Bench::open(product)?;
    let keyring = bench.keyring(&mut secret.unlock())?;
    Ok((bench, keyring))
}

fn create(product: &Path, secret: &Secret) -> Result<()> {
    let bench = Bench::open(product)?;
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
        listing(&keyring)
    ))
}

fn listing(keyring: &KeyringFile) -> String {
    let listing = keyring.keyring().listing();
    let mut text = format!("signing key  {}  made {}\n", listing.signer, listing.signer_created);
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
