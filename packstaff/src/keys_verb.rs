//! The verb `keys`.

use crate::args::{Keys, KeysAct, Secret};
use crate::clock;
use crate::progress::Progress;
use crate::say;
use crate::told::ForPeople;
use miette::Result;
use packstaff_bench::Bench;
use packstaff_bench::keys::{self, TreeShape};
use packstaff_product::KeyringFile;
use packstaff_words::keys as words;
use std::path::Path;

pub(crate) fn run(ask: Keys) -> Result<()> {
    match ask.act {
        KeysAct::Create { product, secret } => {
            let bench = crate::machine::open(&product).told()?;
            let keyring = keys::create(&bench, clock::today()?, &mut secret.unlock()).told()?;
            say(&words::created(keyring.path(), &keys::list(&bench, &keyring)))
        }
        KeysAct::List { product, secret } => {
            let (bench, keyring) = open(&product, &secret)?;
            say(&words::listing(&keys::list(&bench, &keyring)))
        }
        KeysAct::Add {
            product,
            generation,
            secret,
        } => {
            let (bench, mut keyring) = open(&product, &secret)?;
            keys::add(&mut keyring, &generation, clock::today()?).told()?;
            say(&words::added(&generation, &keys::list(&bench, &keyring)))
        }
        KeysAct::Retire {
            product,
            generation,
            secret,
        } => {
            let (bench, mut keyring) = open(&product, &secret)?;
            keys::retire(&mut keyring, &generation).told()?;
            say(&words::retired(&generation, &keys::list(&bench, &keyring)))
        }
        KeysAct::AddTree {
            product,
            height,
            digits,
            secret,
        } => {
            let (bench, mut keyring) = open(&product, &secret)?;
            let today = clock::today()?;
            let shape = TreeShape { height, digits };
            let progress = Progress::new(false);
            let made = keys::add_tree(&bench, &mut keyring, shape, today, &progress);
            progress.done();
            made.told()?;
            say(&words::tree_added(&keys::list(&bench, &keyring)))
        }
        KeysAct::Skip { product, by, secret } => {
            let (bench, keyring) = open(&product, &secret)?;
            keys::skip(&bench, &keyring, by).told()?;
            say(&words::listing(&keys::list(&bench, &keyring)))
        }
        KeysAct::Export {
            product,
            kind,
            out,
            secret,
        } => {
            let (_, keyring) = open(&product, &secret)?;
            let text = words::public_key(&keys::public_key(keyring.keyring(), kind).told()?);
            match out {
                None => say(&text),
                Some(path) => {
                    keys::write_public(&path, &text).told()?;
                    say(&format!("wrote {}\n", path.display()))
                }
            }
        }
        KeysAct::BackUp { product, to, secret } => {
            let (_, keyring) = open(&product, &secret)?;
            keys::back_up(&keyring, &to).told()?;
            say(&words::backed_up(&to))
        }
    }
}

fn open(product: &Path, secret: &Secret) -> Result<(Bench, KeyringFile)> {
    let bench = crate::machine::open(product).told()?;
    let keyring = bench.keyring(&mut secret.unlock()).told()?;
    Ok((bench, keyring))
}
