//! Accounts of the owner and of practitioners.

use time::OffsetDateTime;

use super::types::{impossible, instant, read};
use super::{Connection, Stored};
use crate::domain::ids::{AccountId, PractitionerId};
use crate::domain::role::{Member, Role};

/// An account, as signing in needs it.
pub struct Account {
    /// Who it is.
    pub member: Member,
    /// The mail that it signs in with.
    pub mail: String,
    /// The argon2id hash.
    pub password_hash: String,
    /// Whether it may sign in.
    pub enabled: bool,
    /// Whether the second factor was put off once.
    pub factor_put_off: bool,
    /// Until when the password is a first one, that signs in only to be replaced; `None` when it is her own.
    pub first_until: Option<OffsetDateTime>,
}

impl Account {
    /// Whether it may sign in at this time.
    pub fn may_sign_in(&self, now: OffsetDateTime) -> bool {
        self.enabled && self.first_until.is_none_or(|until| now < until)
    }
}

struct Row {
    id: String,
    role: String,
    mail: String,
    name: String,
    password_hash: String,
    practitioner_id: Option<String>,
    disabled_at: Option<i64>,
    factor_put_off_at: Option<i64>,
    first_until: Option<i64>,
}

impl Row {
    fn account(self) -> Stored<Account> {
        let role = Role::parse(&self.role).ok_or_else(|| impossible("account", "role", &self.id))?;
        let practitioner = match &self.practitioner_id {
            Some(text) => Some(read("account", "practitioner_id", &self.id, PractitionerId::parse(text))?),
            None => None,
        };
        let account = read("account", "id", &self.id, AccountId::parse(&self.id))?;
        let first_until = self.first_until.map(|at| instant("account", "first_until", &self.id, at)).transpose()?;
        Ok(Account {
            member: Member { account, role, name: self.name, practitioner },
            mail: self.mail,
            password_hash: self.password_hash,
            enabled: self.disabled_at.is_none(),
            factor_put_off: self.factor_put_off_at.is_some(),
            first_until,
        })
    }
}

/// The account that signs in with this mail.
///
/// # Errors
/// When the file can't be read.
pub async fn by_mail(c: &mut Connection, mail: &str) -> Stored<Option<Account>> {
    let row = sqlx::query_as!(
        Row,
        "SELECT id, role, mail, name, password_hash, practitioner_id, disabled_at, factor_put_off_at, first_until
         FROM account WHERE mail = ?",
        mail
    );
    row.fetch_optional(c).await?.map(Row::account).transpose()
}

/// One account.
///
/// # Errors
/// When the file can't be read.
pub async fn by_id(c: &mut Connection, id: &AccountId) -> Stored<Option<Account>> {
    let id = id.as_str();
    let row = sqlx::query_as!(
        Row,
        "SELECT id, role, mail, name, password_hash, practitioner_id, disabled_at, factor_put_off_at, first_until
         FROM account WHERE id = ?",
        id
    );
    row.fetch_optional(c).await?.map(Row::account).transpose()
}

/// The account of somebody who treats.
///
/// # Errors
/// When the file can't be read.
pub async fn of_practitioner(c: &mut Connection, id: &PractitionerId) -> Stored<Option<Account>> {
    let id = id.as_str();
    let row = sqlx::query_as!(
        Row,
        "SELECT id, role, mail, name, password_hash, practitioner_id, disabled_at, factor_put_off_at, first_until
         FROM account WHERE practitioner_id = ?",
        id
    );
    row.fetch_optional(c).await?.map(Row::account).transpose()
}

/// Whether anybody owns this server yet.
///
/// # Errors
/// When the file can't be read.
pub async fn has_owner(c: &mut Connection) -> Stored<bool> {
    let found = sqlx::query_scalar!("SELECT 1 FROM account WHERE role = 'owner' LIMIT 1").fetch_optional(c).await?;
    Ok(found.is_some())
}

/// Everybody who has or had a sign-in, by name.
///
/// # Errors
/// When the file can't be read.
pub async fn all(c: &mut Connection) -> Stored<Vec<Account>> {
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, role, mail, name, password_hash, practitioner_id, disabled_at, factor_put_off_at, first_until
         FROM account ORDER BY name COLLATE NOCASE, id"
    );
    rows.fetch_all(c).await?.into_iter().map(Row::account).collect()
}

/// Adds an account.
///
/// # Errors
/// When the mail is taken, or the file can't be written.
pub async fn insert(
    c: &mut Connection,
    member: &Member,
    mail: &str,
    password_hash: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    let (id, role, now) = (member.account.as_str(), member.role.as_str(), now.unix_timestamp());
    let practitioner = member.practitioner.as_ref().map(PractitionerId::as_str);
    sqlx::query!(
        "INSERT INTO account (id, role, mail, name, password_hash, practitioner_id, created_at) VALUES (?, ?, ?, ?, ?, ?, ?)",
        id,
        role,
        mail,
        member.name,
        password_hash,
        practitioner,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Says that the password is a first one, until a time; or with `None`, that it is her own.
///
/// # Errors
/// When the file can't be written.
pub async fn set_first(c: &mut Connection, id: &AccountId, until: Option<OffsetDateTime>) -> Stored<()> {
    let (id, until) = (id.as_str(), until.map(OffsetDateTime::unix_timestamp));
    sqlx::query!("UPDATE account SET first_until = ? WHERE id = ?", until, id).execute(c).await?;
    Ok(())
}

/// Sets another password.
///
/// # Errors
/// When the file can't be written.
pub async fn set_password(c: &mut Connection, id: &AccountId, hash: &str) -> Stored<()> {
    let id = id.as_str();
    sqlx::query!("UPDATE account SET password_hash = ? WHERE id = ?", hash, id).execute(c).await?;
    Ok(())
}

/// Notes that the second factor was put off.
///
/// # Errors
/// When the file can't be written.
pub async fn put_factor_off(c: &mut Connection, id: &AccountId, now: OffsetDateTime) -> Stored<()> {
    let (id, now) = (id.as_str(), now.unix_timestamp());
    sqlx::query!("UPDATE account SET factor_put_off_at = ? WHERE id = ?", now, id).execute(c).await?;
    Ok(())
}

/// Lets an account sign in, or not any more.
///
/// # Errors
/// When the file can't be written.
pub async fn set_enabled(c: &mut Connection, id: &AccountId, enabled: bool, now: OffsetDateTime) -> Stored<()> {
    let id = id.as_str();
    let disabled_at = (!enabled).then_some(now.unix_timestamp());
    sqlx::query!("UPDATE account SET disabled_at = ? WHERE id = ?", disabled_at, id).execute(c).await?;
    Ok(())
}

/// Gives an account another name for pages and the audit.
///
/// # Errors
/// When the file can't be written.
pub async fn rename(c: &mut Connection, id: &AccountId, name: &str) -> Stored<()> {
    let id = id.as_str();
    sqlx::query!("UPDATE account SET name = ? WHERE id = ?", name, id).execute(c).await?;
    Ok(())
}

/// Says as whom an account treats.
///
/// # Errors
/// When that practitioner has an account already, or the file can't be written.
pub async fn set_practitioner(c: &mut Connection, id: &AccountId, treats_as: Option<&PractitionerId>) -> Stored<()> {
    let (id, treats_as) = (id.as_str(), treats_as.map(PractitionerId::as_str));
    sqlx::query!("UPDATE account SET practitioner_id = ? WHERE id = ?", treats_as, id).execute(c).await?;
    Ok(())
}
