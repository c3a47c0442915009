//! A device that holds a passkey, in software: it makes a key and answers with it as an authenticator does (W3C, Web
//! Authentication, level 3, sections 5.8.1, 6.1 and 6.5), and it can be made to do so wrongly.

use data_encoding::BASE64URL_NOPAD;
use ring::rand::SystemRandom;
use ring::signature::{ECDSA_P256_SHA256_ASN1_SIGNING, EcdsaKeyPair, KeyPair};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use super::{Html, Person};

/// A device with one key.
pub(crate) struct Device {
    pair: EcdsaKeyPair,
    /// What it calls its key.
    pub(crate) credential: Vec<u8>,
    /// How often the key was used.
    pub(crate) counter: u32,
    /// The host that it believes to answer.
    pub(crate) host: String,
    /// The page that it believes to be on.
    pub(crate) origin: String,
}

fn sha256(bytes: &[u8]) -> Vec<u8> {
    Sha256::digest(bytes).to_vec()
}

impl Device {
    /// A new one, on pages of this origin; its key is called by a byte over and over.
    pub(crate) fn new(origin: &str, called: u8) -> Self {
        let random = SystemRandom::new();
        let pair = EcdsaKeyPair::generate_pkcs8(&ECDSA_P256_SHA256_ASN1_SIGNING, &random).unwrap();
        let pair = EcdsaKeyPair::from_pkcs8(&ECDSA_P256_SHA256_ASN1_SIGNING, pair.as_ref(), &random).unwrap();
        let host = origin.split("://").nth(1).unwrap().split(':').next().unwrap().to_owned();
        Self { pair, credential: vec![called; 32], counter: 1, host, origin: origin.to_owned() }
    }

    /// Both coordinates of its public key.
    pub(crate) fn public(&self) -> (&[u8], &[u8]) {
        // SEC 1, section 2.3.3: a byte that says "both coordinates", then these.
        self.pair.public_key().as_ref().split_first().unwrap().1.split_at(32)
    }

    fn client_data(&self, kind: &str, asked: &Value) -> Vec<u8> {
        let challenge = asked["challenge"].as_str().unwrap();
        let told = json!({ "type": kind, "challenge": challenge, "origin": self.origin, "crossOrigin": false });
        serde_json::to_vec(&told).unwrap()
    }

    /// The host's hash, that somebody is there and was known by the device, and the counter.
    fn data(&self, more_flags: u8) -> Vec<u8> {
        [sha256(self.host.as_bytes()), vec![0b101 | more_flags], self.counter.to_be_bytes().to_vec()].concat()
    }

    /// What it makes of options, as the page's script sends it.
    pub(crate) fn makes(&self, asked: &Value) -> Value {
        let client_data = self.client_data("webauthn.create", asked);
        let (x, y) = self.public();
        // RFC 9053, section 7.1: kty EC2, alg ES256, crv P-256, x, y.
        let key = [&[0xa5, 1, 2, 3, 0x26, 0x20, 1, 0x21, 0x58, 32][..], x, &[0x22, 0x58, 32], y].concat();
        let length = u16::try_from(self.credential.len()).unwrap().to_be_bytes();
        let data = [&self.data(0b100_0000)[..], &[0; 16], &length, &self.credential, &key].concat();
        let statement =
            [&b"\xa3\x63fmt\x64none\x67attStmt\xa0\x68authData\x58"[..], &[u8::try_from(data.len()).unwrap()], &data];
        self.sends(&client_data, json!({ "attestationObject": text(&statement.concat()), "transports": ["internal"] }))
    }

    /// What it answers to options, as the page's script sends it.
    pub(crate) fn answers(&mut self, asked: &Value) -> Value {
        self.counter += 1;
        self.answers_uncounted(asked)
    }

    /// The same, of a device that doesn't count.
    pub(crate) fn answers_uncounted(&self, asked: &Value) -> Value {
        let client_data = self.client_data("webauthn.get", asked);
        let data = self.data(0);
        let signed = [data.clone(), sha256(&client_data)].concat();
        let signature = self.pair.sign(&SystemRandom::new(), &signed).unwrap();
        self.sends(&client_data, json!({ "authenticatorData": text(&data), "signature": text(signature.as_ref()) }))
    }

    fn sends(&self, client_data: &[u8], mut response: Value) -> Value {
        response.as_object_mut().unwrap().insert("clientDataJSON".to_owned(), text(client_data).into());
        let id = text(&self.credential);
        json!({ "id": id, "rawId": id, "type": "public-key", "clientExtensionResults": {}, "response": response })
    }
}

/// Bytes as the standard's JSON has them.
pub(crate) fn text(bytes: &[u8]) -> String {
    BASE64URL_NOPAD.encode(bytes)
}

impl Person {
    /// What a device is to be asked, as the page's script gets it.
    pub(crate) async fn asks(&self, page: &Html, form: &str, path: &str, name: &str) -> Html {
        let csrf = page.form(form).1.into_iter().find(|(field, _)| field == "csrf").unwrap();
        self.post(path, &[csrf, ("name".to_owned(), name.to_owned())]).await
    }

    /// Adds a passkey, and ends wherever that leads.
    pub(crate) async fn adds_passkey(&self, device: &Device, name: &str) -> Html {
        let page = self.get("/team/passkey").await;
        let asked = self.asks(&page, "/team/passkey", "/team/passkey/new", name).await;
        assert_eq!(asked.status, 200, "{}", asked.text());
        let made = device.makes(&asked.json()).to_string();
        self.submit(&page, "/team/passkey", &[("name", name), ("made", &made)]).await
    }

    /// Answers with a passkey what is asked for after the password.
    pub(crate) async fn gives_passkey(&self, device: &mut Device) -> Html {
        let page = self.get("/team/code").await;
        let asked = self.asks(&page, "/team/code", "/team/passkey/known", "").await;
        assert_eq!(asked.status, 200, "{}", asked.text());
        let answer = device.answers(&asked.json()).to_string();
        self.submit(&page, "/team/code", &[("passkey", &answer)]).await
    }
}
