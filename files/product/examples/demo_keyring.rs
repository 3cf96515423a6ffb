//! Makes the demo's keyring, its identity and its public key. `demo/kc4/keys/README.md` says when and why.
//!
//! Call: `cargo run -p packstaff-product --example demo_keyring -- FOLDER`. Nothing that is there is overwritten.

use age::secrecy::ExposeSecret;
use packstaff_product::keyring::{KeyringFile, NewKeyring, Unlock};
use packstaff_product::{Access, Date, write_new};
use std::error::Error;
use std::path::PathBuf;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args_os()
        .nth(1)
        .map(PathBuf::from)
        .ok_or("name the folder to write into")?;
    let identity = age::x25519::Identity::generate();
    let text = format!(
        "# THIS IDENTITY IS PUBLIC. Everybody who has this repository has it, and with it the demo's keys.\n\
         # It exists so that the demo and the tests run by themselves. NEVER seal a keyring of a real product for it,\n\
         # and never trust the demo's signing key in a real unit.\n\
         # public key: {}\n{}\n",
        identity.to_public(),
        identity.to_string().expose_secret()
    );
    let identity_path = folder.join("demo-identity.txt");
    write_new(&identity_path, text.as_bytes(), Access::Shared)?;
    let new = NewKeyring {
        date: Date::new(2024, 3, 1)?,
        first_generation: "g1".to_owned(),
        also_for: Vec::new(),
        scrypt_work: None,
    };
    let mut keyring = KeyringFile::create(
        &folder.join("keyring.age"),
        &new,
        &mut Unlock::IdentityFile(identity_path),
    )?;
    keyring.add_generation("g2", Date::new(2025, 1, 2)?)?;
    write_new(
        &folder.join("signing-public.pem"),
        keyring.keyring().public_key_pem()?.as_bytes(),
        Access::Shared,
    )?;
    println!("{:#?}", keyring.keyring().listing());
    Ok(())
}
