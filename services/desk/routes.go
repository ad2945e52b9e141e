package desk

import (
	"crypto/rand"
	"net/http"

	"ramprow/internal/baycalendar"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
)

// routes says who may see what. The services check once more: a page that is
// shown to the wrong person shows nothing that the services would not tell them.
func (d *Desk) routes() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /assets/", serveAssets())
	mux.Handle("GET /signin", d.open(d.showSignIn))
	mux.Handle("POST /signin", d.open(d.signIn))
	mux.Handle("POST /signout", d.open(d.signOut))
	mux.Handle("GET /{$}", d.closed(d.home))
	mux.HandleFunc("GET /live", d.follow)

	mux.Handle("GET /work", d.closed(d.showWork, identity.Technician))
	mux.Handle("GET /work/{job}", d.closed(d.showBench, identity.Technician))
	mux.Handle("POST /work/{job}/steps/{step}/{deed}", d.closed(d.actOnStep, identity.Technician))
	mux.Handle("POST /work/{job}/findings", d.closed(d.reportFinding, identity.Technician))
	mux.Handle("GET /work/{job}/diagnosis", d.closed(d.showDiagnosis, identity.Technician))
	mux.Handle("POST /work/{job}/diagnosis", d.closed(d.confirmDiagnosis, identity.Technician))
	mux.Handle("POST /work/{job}/evidence/{kind}", d.closed(d.recordEvidence, identity.Technician))
	mux.Handle("POST /work/{job}/proof/{deed}", d.closed(d.proveRepair, identity.Technician))
	mux.Handle("GET /work/{job}/tighten", d.closed(d.showTighten, identity.Technician))
	mux.Handle("POST /work/{job}/readings", d.closed(d.postReading, identity.Technician))
	mux.Handle("POST /work/{job}/signature", d.closed(d.signSheet, identity.Technician))

	mux.Handle("GET /again", d.closed(d.showAgain, identity.Technician, identity.Owner))
	mux.Handle("POST /again/lookbacks/{lookback}/seen", d.closed(d.seeLookBack, identity.Owner))
	mux.Handle("POST /again/rechecks/{job}/{joint}", d.closed(d.tryAgain, identity.Technician, identity.Owner))
	mux.Handle("POST /again/rechecks/{job}/{joint}/waiver", d.closed(d.waiveRecheck, identity.Technician, identity.Owner))

	mux.Handle("GET /bays", d.closed(d.showBays, identity.Dispatcher))
	mux.HandleFunc("GET "+baycalendar.Path+"{file}", d.sendCalendar)
	mux.Handle("GET /bays/calendars", d.closed(d.showCalendars, identity.Dispatcher))
	mux.Handle("POST /bays/calendars", d.closed(d.renewCalendar, identity.Dispatcher))
	mux.Handle("GET /bays/capacity", d.closed(d.showCapacity, identity.Dispatcher))
	mux.Handle("POST /bays/closed", d.closed(d.closeDay, identity.Dispatcher))
	mux.Handle("POST /bays/closed/open", d.closed(d.openDay, identity.Dispatcher))
	mux.Handle("GET /bays/undo", d.closed(d.showUndo, identity.Dispatcher))
	mux.Handle("POST /bays/undo", d.closed(d.undoMove, identity.Dispatcher))
	mux.Handle("GET /bays/{job}", d.closed(d.showMove, identity.Dispatcher))
	mux.Handle("POST /bays/{job}/move", d.closed(d.moveBooking, identity.Dispatcher))
	mux.Handle("POST /bays/{job}/swap", d.closed(d.swapBookings, identity.Dispatcher))
	mux.Handle("POST /bays/{job}/pin", d.closed(d.pinBooking, identity.Dispatcher))
	mux.Handle("GET /jobs", d.closed(d.showJobs))
	mux.Handle("GET /jobs/{job}", d.closed(d.showJob))
	mux.Handle("GET /jobs/{job}/card", d.closed(d.showCard))
	mux.Handle("GET /jobs/{job}/labels", d.closed(d.showLabels))
	mux.Handle("GET /jobs/{job}/record", d.closed(d.showRecord))
	mux.Handle("GET /jobs/{job}/invoices/{number}", d.closed(d.showInvoice, identity.Dispatcher))
	mux.Handle("GET /jobs/{job}/invoices/{number}/file", d.closed(d.sendInvoiceFile, identity.Dispatcher))
	mux.Handle("POST /jobs/{job}/authority", d.closed(d.authorise, identity.Dispatcher))
	mux.Handle("POST /jobs/{job}/invoice", d.closed(d.closeInvoice, identity.Dispatcher))
	mux.Handle("POST /jobs/{job}/appointment", d.closed(d.changeAppointment, identity.Dispatcher))
	mux.Handle("POST /jobs/{job}/arrival", d.closed(d.receiveCar, identity.Dispatcher, identity.Technician))
	mux.Handle("GET /intake", d.closed(d.showIntake, identity.Dispatcher))
	mux.Handle("POST /intake", d.closed(d.openJob, identity.Dispatcher))

	d.routeClerk(mux)
	d.routeOwner(mux)

	mux.Handle("/", d.open(func(*visit) error {
		return fault.New(fault.NotFound, "PAGE_UNKNOWN", "there is no such page; go on from one of the pages above")
	}))
	// A form on another site's page cannot act here: browsers say where a request
	// comes from, and the cookie does not travel with it either.
	forged := http.NewCrossOriginProtection()
	forged.SetDenyHandler(d.open(func(*visit) error {
		return fault.New(fault.Denied, "FORM_FORGED", "this form was not sent from one of these pages; open the page here and send it again")
	}))
	return secured(forged.Handler(mux))
}

func (d *Desk) routeClerk(mux *http.ServeMux) {
	mux.Handle("GET /shelf", d.closed(d.showShelf, identity.PartsClerk))
	mux.Handle("GET /shelf/find", d.closed(d.findPart, identity.PartsClerk))
	mux.Handle("GET /shelf/parts/{part}", d.closed(d.showPart, identity.PartsClerk))
	mux.Handle("POST /shelf/parts/{part}/count", d.closed(d.countPart, identity.PartsClerk))
	mux.Handle("POST /shelf/parts/{part}/receipt", d.closed(d.receivePart, identity.PartsClerk))
	mux.Handle("POST /shelf/orders", d.closed(d.placeOrder, identity.PartsClerk))
	mux.Handle("GET /shelf/orders/{order}", d.closed(d.showOrder, identity.PartsClerk))
	mux.Handle("GET /shelf/picks/{job}", d.closed(d.showPick, identity.PartsClerk))
	mux.Handle("POST /shelf/orders/{order}/receipt", d.closed(d.receiveOrder, identity.PartsClerk))
	mux.Handle("GET /shelf/kits/{job}", d.closed(d.showKit, identity.PartsClerk))
	mux.Handle("POST /shelf/kits/{job}/scan", d.closed(d.pickPart, identity.PartsClerk))
	mux.Handle("POST /shelf/kits/{job}/short", d.closed(d.shortPick, identity.PartsClerk))
	mux.Handle("POST /shelf/kits/{job}/finish", d.closed(d.finishPick, identity.PartsClerk))
	mux.Handle("POST /shelf/kits/{job}/away", d.closed(d.putAway, identity.PartsClerk))
	mux.Handle("POST /shelf/picks/{job}", d.closed(d.issueParts, identity.PartsClerk))
}

func (d *Desk) routeOwner(mux *http.ServeMux) {
	mux.Handle("GET /figures", d.closed(d.showFigures, identity.Owner))
	mux.Handle("GET /figures/jobs", d.closed(d.showVisits, identity.Owner))
	mux.Handle("GET /figures/stock", d.closed(d.showStock, identity.Owner))
	mux.Handle("GET /figures/stock/{part}", d.closed(d.showStock, identity.Owner))
	mux.Handle("GET /traces", d.closed(d.showTraces, identity.Owner))
	mux.Handle("GET /traces/{trace}", d.closed(d.showTrace, identity.Owner))
	mux.Handle("POST /traces/parked/{role}/{deed}", d.closed(d.settleParked, identity.Owner))
	mux.Handle("GET /jobs/{job}/story", d.closed(d.showStory, identity.Owner))
}

// newRequestID makes what tells one sending of a form from another.
func newRequestID() string { return rand.Text() }
