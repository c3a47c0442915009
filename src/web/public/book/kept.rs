//! What is held for a booking, on what terms, and for how long.

use super::{Booking, times};
use crate::actions::booking::{self, Held, Terms};
use crate::actions::case::{Drafted, Known};
use crate::actions::diary::{Between, wants_test};
use crate::app::App;
use crate::store::visits::Purpose;
use crate::web::error::Fault;
use crate::web::limits::What;

impl Booking {
    /// What is known of her, with the answers that she has given so far.
    pub(super) async fn known(&self, app: &App) -> Result<Known, Fault> {
        let mut c = app.db.read().await?;
        let mut known = Known::load(&mut c, &self.studio, self.draft.client.as_ref(), &self.service.id).await?;
        let answers = self.answers();
        let answers = (!answers.is_empty()).then(|| (self.set_of(answers), self.now));
        known.add(Drafted { birth: self.born(), answers, consent: None, test_booked_at: None });
        Ok(known)
    }

    /// Whether a skin test is booked along, and between which days the treatment may lie; her own window and tests are known
    /// of a signed-in client only.
    pub(super) async fn leaves(&self, app: &App) -> Result<(bool, Between), Fault> {
        let known = if self.draft.client.is_some() { Some(self.known(app).await?) } else { None };
        self.leaves_by(app, known.as_ref()).await
    }

    /// The same, by what is known of a signed-in client.
    pub(super) async fn leaves_by(&self, app: &App, known: Option<&Known>) -> Result<(bool, Between), Fault> {
        let tested = wants_test(&mut *app.db.read().await?, &self.service.id).await?;
        Ok(times::leaves(known, tested, &self.studio, self.now))
    }

    /// On what terms its times are held, with what [`Self::leaves`] said.
    pub(super) fn terms(&self, (test, between): (bool, Between)) -> Terms<'_> {
        // With a test along, the one before may have ended by then.
        let latest = between.latest.filter(|_| !test && !self.has_test());
        let between = Between { latest, ..between };
        Terms { studio: &self.studio, service: &self.service, between, from: &self.holder }
    }

    /// Renews the hold. When the time is gone, leads to the page that offers others.
    pub(in crate::web::public) async fn keep(&self, app: &App) -> Result<(), Fault> {
        app.limits.count(What::Renew, &self.from, self.now).map_err(Fault::TooMany)?;
        match booking::keep(app, &self.terms(self.leaves(app).await?), &self.draft.id).await? {
            Held::Until(_) => Ok(()),
            Held::Gone => Err(Fault::SeeOther(self.path("time"))),
        }
    }

    /// Whether a skin test is held along.
    fn has_test(&self) -> bool {
        self.visits.iter().any(|visit| visit.purpose == Purpose::SkinTest)
    }
}
