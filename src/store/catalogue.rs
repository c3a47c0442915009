//! Services, products and batches.

use super::types::{day, day_text, impossible, read, small};
use super::{Connection, Stored};
use crate::domain::bottle::Days;
use crate::domain::catalogue::{Chemistry, ServiceKind};
use crate::domain::ids::{PractitionerId, ProductId, ServiceId};
use crate::domain::limits::Label;
use crate::domain::window::RetouchRule;

/// A service on offer.
#[derive(Debug, Clone)]
pub struct Service {
    /// Its id.
    pub id: ServiceId,
    /// What it is.
    pub kind: ServiceKind,
    /// What the studio calls it.
    pub name: String,
    /// A few words for clients.
    pub description: String,
    /// How long it takes.
    pub minutes: u16,
    /// How long the room needs afterwards.
    pub turnaround_minutes: u16,
    /// Its price in minor units of the studio's currency.
    pub price_minor: u32,
    /// When a client may and should return.
    pub retouch: RetouchRule,
    /// Whether it can be booked.
    pub active: bool,
}

struct Row {
    id: String,
    kind: String,
    name: String,
    description: String,
    minutes: i64,
    turnaround_minutes: i64,
    price_minor: i64,
    retouch: String,
    active: i64,
}

impl Row {
    fn service(self) -> Stored<Service> {
        let id = &self.id;
        Ok(Service {
            kind: ServiceKind::parse(&self.kind).ok_or_else(|| impossible("service", "kind", id))?,
            minutes: small("service", "minutes", id, self.minutes)?,
            turnaround_minutes: small("service", "turnaround_minutes", id, self.turnaround_minutes)?,
            price_minor: small("service", "price_minor", id, self.price_minor)?,
            retouch: read("service", "retouch", id, serde_json::from_str(&self.retouch))?,
            active: self.active == 1,
            id: read("service", "id", id, ServiceId::parse(id))?,
            name: self.name,
            description: self.description,
        })
    }
}

/// All services, those on offer first, in the studio's order.
///
/// # Errors
/// When the file can't be read.
pub async fn services(c: &mut Connection) -> Stored<Vec<Service>> {
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, kind, name, description, minutes, turnaround_minutes, price_minor, retouch, active FROM service
         ORDER BY active DESC, position, name COLLATE NOCASE, id"
    );
    rows.fetch_all(c).await?.into_iter().map(Row::service).collect()
}

/// One service.
///
/// # Errors
/// When the file can't be read.
pub async fn service(c: &mut Connection, id: &ServiceId) -> Stored<Option<Service>> {
    let id = id.as_str();
    let row = sqlx::query_as!(
        Row,
        "SELECT id, kind, name, description, minutes, turnaround_minutes, price_minor, retouch, active FROM service WHERE id = ?",
        id
    );
    row.fetch_optional(c).await?.map(Row::service).transpose()
}

/// Adds or changes a service, with who gives it and which products it wants tested.
///
/// # Errors
/// When the file can't be written.
pub async fn save_service(c: &mut Connection, s: &Service, by: &[PractitionerId], tests: &[ProductId]) -> Stored<()> {
    let (id, kind) = (s.id.as_str(), s.kind.as_str());
    let retouch = serde_json::to_string(&s.retouch).map_err(|_| impossible("service", "retouch", id))?;
    sqlx::query!(
        "INSERT INTO service (id, kind, name, description, minutes, turnaround_minutes, price_minor, retouch, active, position)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, (SELECT count(*) FROM service))
         ON CONFLICT (id) DO UPDATE SET kind = ?2, name = ?3, description = ?4, minutes = ?5, turnaround_minutes = ?6,
            price_minor = ?7, retouch = ?8, active = ?9",
        id,
        kind,
        s.name,
        s.description,
        s.minutes,
        s.turnaround_minutes,
        s.price_minor,
        retouch,
        s.active
    )
    .execute(&mut *c)
    .await?;
    sqlx::query!("DELETE FROM service_practitioner WHERE service_id = ?", id).execute(&mut *c).await?;
    for practitioner in by {
        let practitioner = practitioner.as_str();
        sqlx::query!("INSERT INTO service_practitioner (service_id, practitioner_id) VALUES (?, ?)", id, practitioner)
            .execute(&mut *c)
            .await?;
    }
    sqlx::query!("DELETE FROM service_skin_test WHERE service_id = ?", id).execute(&mut *c).await?;
    for product in tests {
        let product = product.as_str();
        sqlx::query!("INSERT INTO service_skin_test (service_id, product_id) VALUES (?, ?)", id, product)
            .execute(&mut *c)
            .await?;
    }
    Ok(())
}

/// Sets the price of a service, in minor units.
///
/// # Errors
/// When the file can't be written.
pub async fn set_price(c: &mut Connection, id: &ServiceId, minor: u32) -> Stored<()> {
    let id = id.as_str();
    sqlx::query!("UPDATE service SET price_minor = ? WHERE id = ?", minor, id).execute(c).await?;
    Ok(())
}

/// Sets the retouch rule of a service.
///
/// # Errors
/// When the file can't be written.
pub async fn set_rule(c: &mut Connection, id: &ServiceId, rule: &RetouchRule) -> Stored<()> {
    let id = id.as_str();
    let rule = serde_json::to_string(rule).map_err(|_| impossible("service", "retouch", id))?;
    sqlx::query!("UPDATE service SET retouch = ? WHERE id = ?", rule, id).execute(c).await?;
    Ok(())
}

/// Who gives a service, also those who can't be booked just now.
///
/// # Errors
/// When the file can't be read.
pub async fn given_by(c: &mut Connection, id: &ServiceId) -> Stored<Vec<PractitionerId>> {
    let id = id.as_str();
    let rows = sqlx::query_scalar!("SELECT practitioner_id FROM service_practitioner WHERE service_id = ?", id);
    let rows = rows.fetch_all(c).await?;
    rows.iter().map(|text| read("service_practitioner", "practitioner_id", text, PractitionerId::parse(text))).collect()
}

/// Who gives a service, of those who can be booked.
///
/// # Errors
/// When the file can't be read.
pub async fn practitioners_for(c: &mut Connection, id: &ServiceId) -> Stored<Vec<PractitionerId>> {
    let id = id.as_str();
    let rows = sqlx::query_scalar!(
        "SELECT p.id FROM service_practitioner s JOIN practitioner p ON p.id = s.practitioner_id
         WHERE s.service_id = ? AND p.active = 1 ORDER BY p.name COLLATE NOCASE, p.id",
        id
    )
    .fetch_all(c)
    .await?;
    rows.iter().map(|text| read("service_practitioner", "practitioner_id", text, PractitionerId::parse(text))).collect()
}

/// Which products a service wants tested.
///
/// # Errors
/// When the file can't be read.
pub async fn tests_for(c: &mut Connection, id: &ServiceId) -> Stored<Vec<Product>> {
    let id = id.as_str();
    let rows = sqlx::query_as!(
        ProductRow,
        "SELECT p.id, p.name, p.maker, p.supplier, p.chemistry, p.label_test_hours, p.label, p.active
         FROM service_skin_test s JOIN product p ON p.id = s.product_id WHERE s.service_id = ? ORDER BY p.name COLLATE NOCASE, p.id",
        id
    );
    rows.fetch_all(c).await?.into_iter().map(ProductRow::product).collect()
}

/// A product in the register.
#[derive(Debug, Clone)]
pub struct Product {
    /// Its id.
    pub id: ProductId,
    /// Its name.
    pub name: String,
    /// Who makes it.
    pub maker: String,
    /// Who sold it.
    pub supplier: String,
    /// What it brings near the eye.
    pub chemistry: Chemistry,
    /// Hours that its label asks for between skin test and treatment, where it names some.
    pub label_test_hours: Option<u16>,
    /// What its label says against the published limits, once somebody has gone through it.
    pub label: Option<Label>,
    /// Whether it is in use.
    pub active: bool,
}

struct ProductRow {
    id: String,
    name: String,
    maker: String,
    supplier: String,
    chemistry: String,
    label_test_hours: Option<i64>,
    label: Option<String>,
    active: i64,
}

impl ProductRow {
    fn product(self) -> Stored<Product> {
        let id = &self.id;
        Ok(Product {
            chemistry: Chemistry::parse(&self.chemistry).ok_or_else(|| impossible("product", "chemistry", id))?,
            label_test_hours: self
                .label_test_hours
                .map(|hours| small("product", "label_test_hours", id, hours))
                .transpose()?,
            label: self.label.map(|text| read("product", "label", id, serde_json::from_str(&text))).transpose()?,
            active: self.active == 1,
            id: read("product", "id", id, ProductId::parse(id))?,
            name: self.name,
            maker: self.maker,
            supplier: self.supplier,
        })
    }
}

/// All products, those in use first.
///
/// # Errors
/// When the file can't be read.
pub async fn products(c: &mut Connection) -> Stored<Vec<Product>> {
    let rows = sqlx::query_as!(
        ProductRow,
        "SELECT id, name, maker, supplier, chemistry, label_test_hours, label, active FROM product ORDER BY active DESC, name COLLATE NOCASE, id"
    );
    rows.fetch_all(c).await?.into_iter().map(ProductRow::product).collect()
}

/// One product.
///
/// # Errors
/// When the file can't be read.
pub async fn product(c: &mut Connection, id: &ProductId) -> Stored<Option<Product>> {
    let id = id.as_str();
    let row = sqlx::query_as!(
        ProductRow,
        "SELECT id, name, maker, supplier, chemistry, label_test_hours, label, active FROM product WHERE id = ?",
        id
    );
    row.fetch_optional(c).await?.map(ProductRow::product).transpose()
}

/// Adds or changes a product; what its label says stays as it is.
///
/// # Errors
/// When the file can't be written.
pub async fn save_product(c: &mut Connection, p: &Product) -> Stored<()> {
    let (id, chemistry) = (p.id.as_str(), p.chemistry.as_str());
    sqlx::query!(
        "INSERT INTO product (id, name, maker, chemistry, label_test_hours, active, supplier) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
         ON CONFLICT (id) DO UPDATE
         SET name = ?2, maker = ?3, chemistry = ?4, label_test_hours = ?5, active = ?6, supplier = ?7",
        id,
        p.name,
        p.maker,
        chemistry,
        p.label_test_hours,
        p.active,
        p.supplier
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Sets what a product's label says against the published limits.
///
/// # Errors
/// When the file can't be written.
pub async fn set_label(c: &mut Connection, id: &ProductId, label: &Label) -> Stored<()> {
    let id = id.as_str();
    let label = read("product", "label", id, serde_json::to_string(label))?;
    sqlx::query!("UPDATE product SET label = ? WHERE id = ?", label, id).execute(c).await?;
    Ok(())
}

/// A batch of a product.
#[derive(Debug, Clone)]
pub struct Batch {
    /// Of which product.
    pub product: ProductId,
    /// What the label calls it.
    pub number: String,
    /// Its days.
    pub days: Days,
}

/// All batches, of all products.
///
/// # Errors
/// When the file can't be read.
pub async fn batches(c: &mut Connection) -> Stored<Vec<Batch>> {
    let rows = sqlx::query!(
        "SELECT product_id, number, expires_on, opened_on, discarded_on FROM batch ORDER BY product_id, number"
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let of =
                |column, text: Option<String>| text.map(|text| day("batch", column, &row.number, &text)).transpose();
            Ok(Batch {
                product: read("batch", "product_id", &row.number, ProductId::parse(&row.product_id))?,
                days: Days {
                    expires_on: of("expires_on", row.expires_on)?,
                    opened_on: of("opened_on", row.opened_on)?,
                    discarded_on: of("discarded_on", row.discarded_on)?,
                },
                number: row.number,
            })
        })
        .collect()
}

/// Adds a batch, or gives it other days.
///
/// # Errors
/// When the file can't be written.
pub async fn save_batch(c: &mut Connection, b: &Batch) -> Stored<()> {
    let (product, expires) = (b.product.as_str(), b.days.expires_on.map(day_text));
    let (opened, discarded) = (b.days.opened_on.map(day_text), b.days.discarded_on.map(day_text));
    sqlx::query!(
        "INSERT INTO batch (product_id, number, expires_on, opened_on, discarded_on) VALUES (?1, ?2, ?3, ?4, ?5)
         ON CONFLICT (product_id, number) DO UPDATE SET expires_on = ?3, opened_on = ?4, discarded_on = ?5",
        product,
        b.number,
        expires,
        opened,
        discarded
    )
    .execute(c)
    .await?;
    Ok(())
}
