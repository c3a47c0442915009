//! Clients.

use time::OffsetDateTime;

use super::types::{day, day_text, read};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, PractitionerId};
use crate::domain::person::{BirthDate, Mail, PersonName, Phone};

/// A client.
#[derive(Debug, Clone)]
pub struct Client {
    /// Her id.
    pub id: ClientId,
    /// Her name.
    pub name: PersonName,
    /// Her mail.
    pub mail: Mail,
    /// Her phone.
    pub phone: Phone,
    /// Her date of birth.
    pub born: BirthDate,
}

struct Row {
    id: String,
    name: String,
    mail: String,
    phone: String,
    born_on: String,
}

impl Row {
    fn client(self) -> Stored<Client> {
        let id = &self.id;
        let born = day("client", "born_on", id, &self.born_on)?;
        Ok(Client {
            name: read("client", "name", id, PersonName::parse(&self.name))?,
            mail: read("client", "mail", id, Mail::parse(&self.mail))?,
            phone: read("client", "phone", id, Phone::parse_e164(&self.phone))?,
            // What was accepted on its day is not judged anew on another.
            born: read("client", "born_on", id, BirthDate::of(born, born))?,
            id: read("client", "id", id, ClientId::parse(id))?,
        })
    }
}

/// One client, unless her record is restricted: then nobody meets her.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &ClientId) -> Stored<Option<Client>> {
    let id = id.as_str();
    let row = sqlx::query_as!(
        Row,
        "SELECT id, name, mail, phone, born_on FROM client WHERE id = ? AND restricted_at IS NULL",
        id
    );
    row.fetch_optional(c).await?.map(Row::client).transpose()
}

/// One client, even when her record is only kept for claims.
///
/// # Errors
/// When the file can't be read.
pub async fn even_restricted(c: &mut Connection, id: &ClientId) -> Stored<Option<Client>> {
    let id = id.as_str();
    let row = sqlx::query_as!(Row, "SELECT id, name, mail, phone, born_on FROM client WHERE id = ?", id);
    row.fetch_optional(c).await?.map(Row::client).transpose()
}

/// All clients with this mail: a mother and a daughter may share one.
///
/// # Errors
/// When the file can't be read.
pub async fn by_mail(c: &mut Connection, mail: &Mail) -> Stored<Vec<Client>> {
    let mail = mail.key();
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, name, mail, phone, born_on FROM client WHERE mail = ? AND restricted_at IS NULL
         ORDER BY created_at, id",
        mail
    );
    rows.fetch_all(c).await?.into_iter().map(Row::client).collect()
}

/// Clients whose name or mail contains a text, by name.
///
/// # Errors
/// When the file can't be read.
pub async fn search(c: &mut Connection, text: &str, most: i64) -> Stored<Vec<Client>> {
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, name, mail, phone, born_on FROM client
         WHERE (instr(lower(name), lower(?1)) > 0 OR instr(mail, lower(?1)) > 0) AND restricted_at IS NULL
         ORDER BY name COLLATE NOCASE, id LIMIT ?2",
        text,
        most
    );
    rows.fetch_all(c).await?.into_iter().map(Row::client).collect()
}

/// … and whom this practitioner treats or treated.
///
/// # Errors
/// When the file can't be read.
pub async fn search_of(c: &mut Connection, by: &PractitionerId, text: &str, most: i64) -> Stored<Vec<Client>> {
    let by = by.as_str();
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, name, mail, phone, born_on FROM client
         WHERE (instr(lower(name), lower(?1)) > 0 OR instr(mail, lower(?1)) > 0) AND restricted_at IS NULL
           AND EXISTS (SELECT 1 FROM visit v WHERE v.client_id = client.id AND v.practitioner_id = ?2
                       AND v.state IN ('booked', 'arrived', 'in_treatment', 'done'))
         ORDER BY name COLLATE NOCASE, id LIMIT ?3",
        text,
        by,
        most
    );
    rows.fetch_all(c).await?.into_iter().map(Row::client).collect()
}

/// Everybody, by name.
///
/// # Errors
/// When the file can't be read.
pub async fn all(c: &mut Connection) -> Stored<Vec<Client>> {
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, name, mail, phone, born_on FROM client WHERE restricted_at IS NULL ORDER BY name COLLATE NOCASE, id"
    );
    rows.fetch_all(c).await?.into_iter().map(Row::client).collect()
}

/// Adds a client.
///
/// # Errors
/// When the file can't be written.
pub async fn insert(c: &mut Connection, client: &Client, now: OffsetDateTime) -> Stored<()> {
    let (id, name, mail, phone) = (client.id.as_str(), client.name.as_str(), client.mail.key(), client.phone.as_str());
    let (born, now) = (day_text(client.born.date()), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO client (id, name, mail, phone, born_on, created_at) VALUES (?, ?, ?, ?, ?, ?)",
        id,
        name,
        mail,
        phone,
        born,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Stores her contact data anew.
///
/// # Errors
/// When the file can't be written.
pub async fn update_contact(c: &mut Connection, id: &ClientId, phone: &Phone) -> Stored<()> {
    let (id, phone) = (id.as_str(), phone.as_str());
    sqlx::query!("UPDATE client SET phone = ? WHERE id = ?", phone, id).execute(c).await?;
    Ok(())
}
