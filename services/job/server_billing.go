package job

import (
	"context"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/engine/billing/invoicepage"
	"ramprow/internal/engine/billing/ubl"
	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// billingServer answers BillingService over the same writer and views.
type billingServer struct {
	jobv1.UnimplementedBillingServiceServer
	*Server
}

// seller gives the site's seller from the writer's state; nil if none is set.
func (s *Server) seller(ctx context.Context) (*jobv1.Seller, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	var seller *jobv1.Seller
	_, err = s.runner.View(ctx, who.Site, func(st *State) error {
		seller = st.seller
		return nil
	})
	return seller, err
}

// SetSeller says who the workshop is on its invoices.
func (s *billingServer) SetSeller(ctx context.Context, req *jobv1.SetSellerRequest) (*jobv1.SetSellerResponse, error) {
	seller, receipt, err := command.Run(ctx, s.runner, req, func(st *State, in sitelog.Input) ([]proto.Message, *jobv1.Seller, error) {
		events, err := setSeller(st, in, req)
		return events, req.GetSeller(), err
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.SetSellerResponse{Seller: seller, Receipt: receipt}, nil
}

// GetSeller gives what SetSeller set last, nothing before that.
func (s *billingServer) GetSeller(ctx context.Context, _ *jobv1.GetSellerRequest) (*jobv1.GetSellerResponse, error) {
	seller, err := s.seller(ctx)
	if err != nil {
		return nil, err
	}
	return &jobv1.GetSellerResponse{Seller: seller}, nil
}

// SetBilling says how an open job is billed.
func (s *billingServer) SetBilling(ctx context.Context, req *jobv1.SetBillingRequest) (*jobv1.SetBillingResponse, error) {
	key, err := s.sealing(ctx, keyOfJob(req.GetJob()))
	if err != nil {
		return nil, err
	}
	kept := sealed(key, req)
	job, receipt, err := s.change(ctx, kept, func(j *Job, c *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return setBilling(j, c, req, kept.GetBilling())
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.SetBillingResponse{Job: job, Receipt: receipt}, nil
}

// PreviewBilling shows every payer's invoice as it would be or was issued.
func (s *billingServer) PreviewBilling(ctx context.Context, req *jobv1.PreviewBillingRequest) (*jobv1.PreviewBillingResponse, error) {
	j, c, err := s.look(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	if j, err = s.read(ctx, j); err != nil {
		return nil, err
	}
	response := &jobv1.PreviewBillingResponse{Billing: j.Billing, Advances: j.Advances}
	if j.finished() {
		shown := j.resource()
		response.Invoices, response.CreditNotes, response.Unmet = shown.GetInvoices(), shown.GetCreditNotes(), shown.GetUnmet()
		return response, nil
	}
	seller, err := s.seller(ctx)
	if err != nil {
		return nil, err
	}
	response.Invoices, response.Unmet = j.preview(c, seller, s.now())
	return response, nil
}

// RecordAdvance keeps money received before the invoice.
func (s *billingServer) RecordAdvance(ctx context.Context, req *jobv1.RecordAdvanceRequest) (*jobv1.RecordAdvanceResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return recordAdvance(j, c, in, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.RecordAdvanceResponse{Job: job, Receipt: receipt}, nil
}

// correction runs a command at a job that has an invoice; what it issues is the answer.
func (s *billingServer) correction(ctx context.Context, req jobRequest,
	decide func(*State, *Job, *catalogue.Catalogue, sitelog.Input) ([]proto.Message, *jobv1.Invoice, error),
) (*jobv1.Invoice, *commonv1.Receipt, error) {
	return command.Run(ctx, s.runner, req, func(st *State, in sitelog.Input) ([]proto.Message, *jobv1.Invoice, error) {
		j, err := st.job(req.GetJob())
		if err != nil {
			return nil, nil, err
		}
		c, err := st.edition(j.Version)
		if err != nil {
			return nil, nil, err
		}
		events, issued, err := decide(st, j, c, in)
		if err != nil {
			return nil, nil, err
		}
		return events, bare(issued), nil
	})
}

// CreditInvoice issues a credit note.
func (s *billingServer) CreditInvoice(ctx context.Context, req *jobv1.CreditInvoiceRequest) (*jobv1.CreditInvoiceResponse, error) {
	note, receipt, err := s.correction(ctx, req, func(st *State, j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, *jobv1.Invoice, error) {
		return creditInvoice(st, j, in, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.CreditInvoiceResponse{CreditNote: note, Receipt: receipt}, nil
}

// CorrectInvoice credits what is left of an invoice and issues it anew.
func (s *billingServer) CorrectInvoice(ctx context.Context, req *jobv1.CorrectInvoiceRequest) (*jobv1.CorrectInvoiceResponse, error) {
	key, err := s.sealing(ctx, keyOfJob(req.GetJob()))
	if err != nil {
		return nil, err
	}
	read, err := s.reader(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	invoice, receipt, err := s.correction(ctx, sealed(key, req), func(st *State, j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, *jobv1.Invoice, error) {
		j, err := read(j)
		if err != nil {
			return nil, nil, err
		}
		events, issued, err := correctInvoice(st, j, c, in, req)
		return sealEvents(key, events), issued, err
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.CorrectInvoiceResponse{Invoice: invoice, Receipt: receipt}, nil
}

// SettleLookback gives the outcome of a re-opened audit.
func (s *billingServer) SettleLookback(ctx context.Context, req *jobv1.SettleLookbackRequest) (*jobv1.SettleLookbackResponse, error) {
	job, receipt, err := s.run(ctx, req, func(st *State, in sitelog.Input) (*Job, []proto.Message, error) {
		j, err := st.job(req.GetJob())
		if err != nil {
			return nil, nil, err
		}
		events, err := settleLookback(j, in, req)
		return j, events, err
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.SettleLookbackResponse{Job: job, Receipt: receipt}, nil
}

// GetInvoiceDocument gives an issued document in the form that is asked for.
func (s *billingServer) GetInvoiceDocument(ctx context.Context, req *jobv1.GetInvoiceDocumentRequest) (*jobv1.GetInvoiceDocumentResponse, error) {
	j, _, err := s.look(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	invoice := j.invoiceNumbered(req.GetNumber())
	for _, c := range j.CreditNotes {
		if c.GetCreditNote().GetNumber() == req.GetNumber() {
			invoice = c.GetCreditNote()
		}
	}
	if invoice == nil && j.Invoice == nil {
		return nil, fault.New(fault.Precondition, "INVOICE_NOT_CLOSED", "%s has no invoice yet; close it first", j.Name)
	}
	if invoice == nil {
		return nil, fault.New(fault.NotFound, "INVOICE_NOT_FOUND", "%s has no invoice or credit note %s", j.Name, req.GetNumber()).
			WithField("number", "must be a number of the job's invoices or credit notes")
	}
	d, err := documentOf(invoice)
	if err != nil {
		return nil, err
	}
	return written(invoice, d, req.GetForm())
}

// written writes a document. UBL is for documents that name a seller: others no validator would take.
func written(i *jobv1.Invoice, d *en16931.Invoice, form jobv1.DocumentForm) (*jobv1.GetInvoiceDocumentResponse, error) {
	response := &jobv1.GetInvoiceDocumentResponse{Number: i.GetNumber()}
	var err error
	switch form {
	case jobv1.DocumentForm_DOCUMENT_FORM_JSON:
		response.MediaType, response.Document = "application/json", i.GetDocument()
	case jobv1.DocumentForm_DOCUMENT_FORM_HTML:
		response.MediaType = "text/html"
		response.Document, err = invoicepage.Write(d)
	case jobv1.DocumentForm_DOCUMENT_FORM_UBL, jobv1.DocumentForm_DOCUMENT_FORM_UNSPECIFIED:
		if !i.GetStructured() {
			return nil, fault.New(fault.Precondition, "INVOICE_NOT_STRUCTURED",
				"invoice %s was closed before the owner had set the seller, so it is no structured document; take html or json", i.GetNumber()).With("invoice", i.GetNumber())
		}
		response.MediaType, response.Document = "application/xml", ubl.Write(d)
	}
	return response, err
}
