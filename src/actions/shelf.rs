//! The bottles on the shelf as they stand on a day, and what may be taken from there.

use time::Date;

use crate::domain::ids::{ProductId, ServiceId};
use crate::store::catalogue::{self, Batch, Product, Service};
use crate::store::{Connection, Stored};

/// Everything that is on the shelf.
pub struct Shelf {
    batches: Vec<Batch>,
    products: Vec<Product>,
    services: Vec<Service>,
    on: Date,
}

impl Shelf {
    /// Loads it for a day.
    ///
    /// # Errors
    /// When the file can't be read.
    pub async fn load(c: &mut Connection, on: Date) -> Stored<Self> {
        Ok(Self {
            batches: catalogue::batches(c).await?,
            products: catalogue::products(c).await?,
            services: catalogue::services(c).await?,
            on,
        })
    }

    /// A batch of a product.
    pub fn find(&self, product: &ProductId, number: &str) -> Option<&Batch> {
        self.batches.iter().find(|batch| batch.product == *product && batch.number == number)
    }

    /// A batch of a product by the number that somebody read from it. Case and spaces are not told apart.
    pub fn typed(&self, product: &ProductId, number: &str) -> Option<&Batch> {
        let own = self.batches.iter().filter(|batch| batch.product == *product);
        own.filter(|batch| plain(&batch.number) == plain(number)).min_by_key(|batch| batch.number != number)
    }

    /// A product.
    pub fn product(&self, id: &ProductId) -> Option<&Product> {
        self.products.iter().find(|product| product.id == *id)
    }

    /// The day.
    pub fn on(&self) -> Date {
        self.on
    }

    /// The batches with a number that somebody read from a bottle, of products in use: of those that the service brings
    /// near the eye, where there are some. Case and spaces are not told apart.
    pub fn numbered(&self, number: &str, service: &ServiceId) -> Vec<&Batch> {
        let wanted = plain(number);
        let kind = self.services.iter().find(|one| one.id == *service).map(|service| service.kind);
        let in_use = |batch: &&Batch| {
            plain(&batch.number) == wanted && self.product(&batch.product).is_some_and(|product| product.active)
        };
        let (fitting, others): (Vec<_>, Vec<_>) = self.batches.iter().filter(in_use).partition(|batch| {
            let chemistry = self.product(&batch.product).map(|product| product.chemistry);
            kind.zip(chemistry).is_some_and(|(kind, chemistry)| kind.chemistries().contains(&chemistry))
        });
        if fitting.is_empty() { others } else { fitting }
    }
}

fn plain(text: &str) -> String {
    text.split_whitespace().collect::<String>().to_lowercase()
}
