//! What a maker must know before there are units in the field.

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
