//! Passkeys (W3C, Web Authentication, level 3): what a browser is asked for, and whether its answer is right.
//!
//! They come second, after the password, so a key need not ask for finger or number itself; nobody is asked to prove whose
//! make a key is. Whoever calls keeps what was asked, for a few minutes and for one answer.

use webauthn_rp::AuthenticatedCredential;
use webauthn_rp::bin::{Decode, Encode};
use webauthn_rp::request::auth::error::RequestOptionsErr;
use webauthn_rp::request::auth::{
    AllowedCredentials, AuthenticationVerificationOptions, NonDiscoverableAuthenticationServerState,
    NonDiscoverableCredentialRequestOptions,
};
use webauthn_rp::request::register::{
    Nickname, PublicKeyCredentialCreationOptions, PublicKeyCredentialUserEntity, RegistrationServerState,
    RegistrationVerificationOptions, ResidentKeyRequirement, UserHandle16, Username,
};
use webauthn_rp::request::{
    AsciiDomain, Credentials, PublicKeyCredentialDescriptor, RpId, UserVerificationRequirement,
};
use webauthn_rp::response::auth::NonDiscoverableAuthentication;
use webauthn_rp::response::auth::error::AuthCeremonyErr;
use webauthn_rp::response::register::{CompressedPubKey, DynamicState, Registration, StaticState};
use webauthn_rp::response::{AuthTransports, CredentialId};

use crate::domain::ids::AccountId;

/// The longest answer of a browser that is read, in bytes. An RSA key with its statement stays far below.
const MOST_BYTES: usize = 16 * 1024;

/// The public key of a key, as it is stored.
type Key = CompressedPubKey<[u8; 32], [u8; 32], [u8; 48], Vec<u8>>;

/// Where keys are made for: they answer to this host alone, and only on pages from this origin.
pub struct Place {
    host: RpId,
    origin: String,
}

/// Why there can be no passkeys at an address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoPlace {
    /// Browsers offer none over plain HTTP, but on the machine itself.
    NotSecure,
    /// The address has numbers in the place of a name.
    NoName,
}

impl Place {
    /// The place of a server whose pages have this address.
    ///
    /// # Errors
    /// See [`NoPlace`].
    pub fn of(address: &str) -> Result<Self, NoPlace> {
        let (scheme, rest) = address.split_once("://").ok_or(NoPlace::NotSecure)?;
        let rest = rest.split(['/', '?', '#']).next().unwrap_or_default().to_ascii_lowercase();
        let (host, port) = match rest.rsplit_once(':') {
            Some((host, port)) if port.bytes().all(|b| b.is_ascii_digit()) => (host, port),
            _ => (rest.as_str(), ""),
        };
        let here = host == "localhost" || host.ends_with(".localhost");
        let usual = match scheme {
            "https" => "443",
            "http" if here => "80",
            _ => return Err(NoPlace::NotSecure),
        };
        // The last label of a name has a letter; that of an address in numbers has none.
        let named = host.rsplit('.').next().is_some_and(|last| last.bytes().any(|b| b.is_ascii_alphabetic()));
        let plain = host.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'.');
        if !named || !plain {
            return Err(NoPlace::NoName);
        }
        let origin = if port.is_empty() || port == usual {
            format!("{scheme}://{host}")
        } else {
            format!("{scheme}://{host}:{port}")
        };
        let host = AsciiDomain::try_from(host.to_owned()).map_err(|_| NoPlace::NoName)?;
        Ok(Self { host: RpId::Domain(host), origin })
    }
}

/// Whose key it is.
pub struct Holder<'a> {
    /// The account: a key keeps it, and it says nothing about the person.
    pub account: &'a AccountId,
    /// What she signs in with, as her device shows it.
    pub mail: &'a str,
    /// Her name, as her device shows it.
    pub name: &'a str,
}

/// A key that was made, as it is stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// What the device calls it.
    pub credential: Vec<u8>,
    /// How the device is reached, for the browser's sake.
    pub transports: u8,
    /// Its public half, and what it can do.
    pub key: Vec<u8>,
    /// Its counter, and what else changes.
    pub state: Vec<u8>,
}

/// What a browser is asked, and what is needed to judge its answer.
pub struct Asked {
    /// For the browser, as JSON (section 5.1.8 and 5.1.9 there).
    pub options: String,
    /// For us.
    pub kept: Vec<u8>,
}

/// What is stored, in this column, can't be read: a fault of the program, or of the file.
#[derive(Debug, thiserror::Error)]
#[error("passkey: {0}")]
pub struct PasskeyFault(pub &'static str);

/// How the answer of a key was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Found {
    /// It is right; this is the key's new state.
    Right(Vec<u8>),
    /// It is right, but the key's counter went back: there may be a copy of the key.
    Copied,
    /// It is not.
    Wrong,
}

/// Asks a browser to make a key, on none of the devices that hold one of these.
///
/// # Errors
/// When what is stored can't be read.
pub fn ask_new(place: &Place, holder: &Holder<'_>, others: &[Kept]) -> Result<Asked, PasskeyFault> {
    let id = user(holder.account)?;
    // Names that the standard doesn't take are only shown, so another word does as well.
    let name = Username::try_from(holder.mail).or_else(|_| Username::try_from("team"));
    let name = name.map_err(|_| PasskeyFault("name"))?;
    let user = PublicKeyCredentialUserEntity { name, id: &id, display_name: Nickname::try_from(holder.name).ok() };
    let others = others.iter().map(descriptor).collect::<Result<_, _>>()?;
    let mut options = PublicKeyCredentialCreationOptions::second_factor(&place.host, user, others);
    options.authenticator_selection.resident_key = ResidentKeyRequirement::Preferred;
    options.authenticator_selection.user_verification = UserVerificationRequirement::Preferred;
    let (kept, shown) = options.start_ceremony().map_err(|_| PasskeyFault("kept"))?;
    asked(serde_json::to_string(&shown), kept.encode().ok())
}

/// Judges the answer to [`ask_new`]; `None` when it is not right.
pub fn made(place: &Place, kept: &[u8], answer: &str) -> Option<Kept> {
    let asked = RegistrationServerState::<16>::decode(kept).ok()?;
    let answer = Registration::from_json_relaxed(within(answer)?).ok()?;
    let origins = [place.origin.as_str()];
    let options = RegistrationVerificationOptions::<&str, &str> {
        allowed_origins: &origins,
        error_on_unsolicited_extensions: false,
        ..RegistrationVerificationOptions::default()
    };
    let made = asked.verify(&place.host, &answer, &options).ok()?;
    let Ok(transports) = made.transports().encode();
    let Ok(state) = made.dynamic_state().encode();
    let Ok(key) = made.static_state().encode();
    Some(Kept { credential: made.id().as_ref().to_vec(), transports, key, state: state.to_vec() })
}

/// Asks a browser for an answer of one of these keys; `None` when there are none.
///
/// # Errors
/// When what is stored can't be read.
pub fn ask_known(place: &Place, keys: &[Kept]) -> Result<Option<Asked>, PasskeyFault> {
    let mut allowed = AllowedCredentials::with_capacity(keys.len());
    for key in keys {
        allowed.push(descriptor(key)?.into());
    }
    let Ok(mut options) = NonDiscoverableCredentialRequestOptions::second_factor(&place.host, allowed) else {
        return Ok(None);
    };
    options.options().user_verification = UserVerificationRequirement::Preferred;
    let started: Result<_, RequestOptionsErr> = options.start_ceremony();
    let (kept, shown) = started.map_err(|_| PasskeyFault("kept"))?;
    asked(serde_json::to_string(&shown), kept.encode().ok()).map(Some)
}

/// Which key answers, as its device calls it; `None` when it is no answer at all.
pub fn credential_of(answer: &str) -> Option<Vec<u8>> {
    let answer = NonDiscoverableAuthentication::<16>::from_json_relaxed(within(answer)?).ok()?;
    Some(answer.raw_id().as_ref().to_vec())
}

/// Judges the answer to [`ask_known`] that a key of this account gave.
///
/// # Errors
/// When what is stored can't be read.
pub fn found(place: &Place, kept: &[u8], account: &AccountId, key: &Kept, answer: &str) -> Result<Found, PasskeyFault> {
    let asked = NonDiscoverableAuthenticationServerState::decode(kept).map_err(|_| PasskeyFault("kept"))?;
    let Some(answer) =
        within(answer).and_then(|json| NonDiscoverableAuthentication::<16>::from_json_relaxed(json).ok())
    else {
        return Ok(Found::Wrong);
    };
    let id = CredentialId::<&[u8]>::decode(&key.credential).map_err(|_| PasskeyFault("credential"))?;
    let fixed = StaticState::<Key>::decode(&key.key).map_err(|_| PasskeyFault("key"))?;
    let state = key.state.as_slice().try_into().map_err(|_| PasskeyFault("state"))?;
    let state = DynamicState::decode(state).map_err(|_| PasskeyFault("state"))?;
    let user = user(account)?;
    let mut known = AuthenticatedCredential::new(id, &user, fixed, state).map_err(|_| PasskeyFault("state"))?;
    let origins = [place.origin.as_str()];
    let options = AuthenticationVerificationOptions::<&str, &str> {
        allowed_origins: &origins,
        error_on_unsolicited_extensions: false,
        ..AuthenticationVerificationOptions::default()
    };
    match asked.verify(&place.host, &answer, &mut known, &options) {
        Ok(_) => {
            let Ok(state) = known.dynamic_state().encode();
            Ok(Found::Right(state.to_vec()))
        }
        // The counter is looked at last, so all else was right.
        Err(AuthCeremonyErr::SignatureCounter) => Ok(Found::Copied),
        Err(_) => Ok(Found::Wrong),
    }
}

fn within(answer: &str) -> Option<&[u8]> {
    (answer.len() <= MOST_BYTES).then_some(answer.as_bytes())
}

fn asked(options: serde_json::Result<String>, kept: Option<Vec<u8>>) -> Result<Asked, PasskeyFault> {
    match (options, kept) {
        (Ok(options), Some(kept)) => Ok(Asked { options, kept }),
        _ => Err(PasskeyFault("kept")),
    }
}

fn user(account: &AccountId) -> Result<UserHandle16, PasskeyFault> {
    let letters = account.as_str().to_ascii_uppercase();
    let bits = data_encoding::BASE32_NOPAD.decode(letters.as_bytes()).ok().and_then(|bits| bits.try_into().ok());
    let bits: [u8; 16] = bits.ok_or(PasskeyFault("account_id"))?;
    UserHandle16::decode(bits).map_err(|_| PasskeyFault("account_id"))
}

fn descriptor(key: &Kept) -> Result<PublicKeyCredentialDescriptor<Vec<u8>>, PasskeyFault> {
    let id = CredentialId::decode(key.credential.clone()).map_err(|_| PasskeyFault("credential"))?;
    let transports = AuthTransports::decode(key.transports).map_err(|_| PasskeyFault("transports"))?;
    Ok(PublicKeyCredentialDescriptor { id, transports })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_a_host_with_a_name_that_browsers_trust() {
        let origin = |address: &str| Place::of(address).map(|place| (place.host.as_ref().to_owned(), place.origin));
        let is = |host: &str, origin: &str| Ok((host.to_owned(), origin.to_owned()));
        assert_eq!(origin("https://Book.Example.org"), is("book.example.org", "https://book.example.org"));
        assert_eq!(origin("https://book.example.org:443/x"), is("book.example.org", "https://book.example.org"));
        assert_eq!(origin("https://book.example.org:8443"), is("book.example.org", "https://book.example.org:8443"));
        assert_eq!(origin("http://localhost:8080"), is("localhost", "http://localhost:8080"));
        assert_eq!(origin("http://localhost:80"), is("localhost", "http://localhost"));
        for address in ["http://book.example.org", "ftp://localhost", "book.example.org", ""] {
            assert_eq!(origin(address), Err(NoPlace::NotSecure), "{address}");
        }
        for address in [
            "https://192.0.2.1",
            "https://[2001:db8::1]:8443",
            "https://",
            "https://bücher.example",
            "https://a@example.org",
        ] {
            assert_eq!(origin(address), Err(NoPlace::NoName), "{address}");
        }
    }
}
