package job

import (
	"context"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/command"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// OpenJob takes in a car.
func (s *Server) OpenJob(ctx context.Context, req *jobv1.OpenJobRequest) (*jobv1.OpenJobResponse, error) {
	key, err := s.sealing(ctx, keyOfOpening(req.GetRequestId()))
	if err != nil {
		return nil, err
	}
	cars, err := s.sealing(ctx, keyOfCars)
	if err != nil {
		return nil, err
	}
	j, receipt, err := s.run(ctx, sealed(key, req), func(st *State, in sitelog.Input) (*Job, []proto.Message, error) {
		events, err := open(st, in, req)
		return nil, sealEvents(key, pseudonymous(cars, events)), err
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.OpenJobResponse{Job: j, Receipt: receipt}, nil
}

// ImportCatalogue makes an edition known to the site.
func (s *Server) ImportCatalogue(ctx context.Context, req *jobv1.ImportCatalogueRequest) (*jobv1.ImportCatalogueResponse, error) {
	response, receipt, err := command.Run(ctx, s.runner, req, func(st *State, in sitelog.Input) ([]proto.Message, *jobv1.ImportCatalogueResponse, error) {
		return importCatalogue(st, in, req)
	})
	if err != nil {
		return nil, err
	}
	response.Receipt = receipt
	return response, nil
}

// CloseInvoice gives the invoice its number and closes the job.
func (s *Server) CloseInvoice(ctx context.Context, req *jobv1.CloseInvoiceRequest) (*jobv1.CloseInvoiceResponse, error) {
	read, err := s.reader(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	invoice, receipt, err := command.Run(ctx, s.runner, req, func(st *State, in sitelog.Input) ([]proto.Message, *jobv1.Invoice, error) {
		j, err := st.openJob(req.GetJob())
		if err != nil {
			return nil, nil, err
		}
		c, err := st.edition(j.Version)
		if err != nil {
			return nil, nil, err
		}
		if j, err = read(j); err != nil {
			return nil, nil, err
		}
		events, issued, err := closeInvoice(st, j, c, in)
		if err != nil {
			return nil, nil, err
		}
		return events, bare(issued), nil
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.CloseInvoiceResponse{Invoice: invoice, Receipt: receipt}, nil
}

// RecordPayment keeps money received for a closed invoice.
func (s *Server) RecordPayment(ctx context.Context, req *jobv1.RecordPaymentRequest) (*jobv1.RecordPaymentResponse, error) {
	j, receipt, err := s.run(ctx, req, func(st *State, _ sitelog.Input) (*Job, []proto.Message, error) {
		j, err := st.job(req.GetJob())
		if err != nil {
			return nil, nil, err
		}
		events, err := recordPayment(j, req)
		return j, events, err
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.RecordPaymentResponse{Job: j, Receipt: receipt}, nil
}

// ReceiveVehicle notes that the car is on the yard.
func (s *Server) ReceiveVehicle(ctx context.Context, req *jobv1.ReceiveVehicleRequest) (*jobv1.ReceiveVehicleResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return receive(j, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.ReceiveVehicleResponse{Job: job, Receipt: receipt}, nil
}

// ChangeAppointment keeps when the car comes, by when it is wanted and how urgent it is.
func (s *Server) ChangeAppointment(ctx context.Context, req *jobv1.ChangeAppointmentRequest) (*jobv1.ChangeAppointmentResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return reappoint(j, in, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.ChangeAppointmentResponse{Job: job, Receipt: receipt}, nil
}

// RecordCodes keeps what the control unit says.
func (s *Server) RecordCodes(ctx context.Context, req *jobv1.RecordCodesRequest) (*jobv1.RecordCodesResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return recordCodes(j, in, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.RecordCodesResponse{Job: job, Receipt: receipt}, nil
}

// NoteSymptom keeps whether a symptom is there.
func (s *Server) NoteSymptom(ctx context.Context, req *jobv1.NoteSymptomRequest) (*jobv1.NoteSymptomResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, c *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return noteSymptom(j, c, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.NoteSymptomResponse{Job: job, Receipt: receipt}, nil
}

// RecordTest keeps the outcome of a test.
func (s *Server) RecordTest(ctx context.Context, req *jobv1.RecordTestRequest) (*jobv1.RecordTestResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return recordTest(j, c, in, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.RecordTestResponse{Job: job, Receipt: receipt}, nil
}

// WithdrawEvidence takes back a symptom or a test result.
func (s *Server) WithdrawEvidence(ctx context.Context, req *jobv1.WithdrawEvidenceRequest) (*jobv1.WithdrawEvidenceResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return withdrawEvidence(j, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.WithdrawEvidenceResponse{Job: job, Receipt: receipt}, nil
}

// ConfirmDiagnosis says what is broken and plans its repair.
func (s *Server) ConfirmDiagnosis(ctx context.Context, req *jobv1.ConfirmDiagnosisRequest) (*jobv1.ConfirmDiagnosisResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return confirm(j, c, in, req)
	})
	if err != nil {
		return nil, err
	}
	if job.GetTraceId() == "" {
		job.TraceId = receipt.GetTraceId() // a decision does not know the trace that its commit will carry
	}
	return &jobv1.ConfirmDiagnosisResponse{Job: job, Receipt: receipt}, nil
}

// TakeWay goes another way than planned.
func (s *Server) TakeWay(ctx context.Context, req *jobv1.TakeWayRequest) (*jobv1.TakeWayResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return takeWay(j, c, in, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.TakeWayResponse{Job: job, Receipt: receipt}, nil
}

// AuthoriseWork keeps the customer's word.
func (s *Server) AuthoriseWork(ctx context.Context, req *jobv1.AuthoriseWorkRequest) (*jobv1.AuthoriseWorkResponse, error) {
	key, err := s.sealing(ctx, keyOfJob(req.GetJob()))
	if err != nil {
		return nil, err
	}
	job, receipt, err := s.run(ctx, sealed(key, req), func(st *State, in sitelog.Input) (*Job, []proto.Message, error) {
		j, err := st.authorisable(req.GetJob())
		if err != nil {
			return nil, nil, err
		}
		events, err := authorise(j, in, req)
		return j, sealEvents(key, events), err
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.AuthoriseWorkResponse{Job: job, Receipt: receipt}, nil
}

// StartStep begins a step at the car.
func (s *Server) StartStep(ctx context.Context, req *jobv1.StartStepRequest) (*jobv1.StartStepResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return startStep(j, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.StartStepResponse{Job: job, Receipt: receipt}, nil
}

// PauseStep stops the clock of a step.
func (s *Server) PauseStep(ctx context.Context, req *jobv1.PauseStepRequest) (*jobv1.PauseStepResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return pauseStep(j, in, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.PauseStepResponse{Job: job, Receipt: receipt}, nil
}

// ResumeStep starts the clock again.
func (s *Server) ResumeStep(ctx context.Context, req *jobv1.ResumeStepRequest) (*jobv1.ResumeStepResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return resumeStep(j, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.ResumeStepResponse{Job: job, Receipt: receipt}, nil
}

// FinishStep says that a step is done.
func (s *Server) FinishStep(ctx context.Context, req *jobv1.FinishStepRequest) (*jobv1.FinishStepResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return finishStep(j, in, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.FinishStepResponse{Job: job, Receipt: receipt}, nil
}

// ReportFinding keeps what was found at the car.
func (s *Server) ReportFinding(ctx context.Context, req *jobv1.ReportFindingRequest) (*jobv1.ReportFindingResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return reportFinding(j, c, in, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.ReportFindingResponse{Job: job, Receipt: receipt}, nil
}

// ExplainPiece signs for a piece that does not go back.
func (s *Server) ExplainPiece(ctx context.Context, req *jobv1.ExplainPieceRequest) (*jobv1.ExplainPieceResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return explainPiece(j, in, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.ExplainPieceResponse{Job: job, Receipt: receipt}, nil
}

// SettleDebris counts pieces of a part that broke up.
func (s *Server) SettleDebris(ctx context.Context, req *jobv1.SettleDebrisRequest) (*jobv1.SettleDebrisResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return settleDebris(j, in, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.SettleDebrisResponse{Job: job, Receipt: receipt}, nil
}

// ClearCodes notes that the codes were cleared.
func (s *Server) ClearCodes(ctx context.Context, req *jobv1.ClearCodesRequest) (*jobv1.ClearCodesResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return clearCodes(j)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.ClearCodesResponse{Job: job, Receipt: receipt}, nil
}

// RecordRoadTest keeps the drive after the repair.
func (s *Server) RecordRoadTest(ctx context.Context, req *jobv1.RecordRoadTestRequest) (*jobv1.RecordRoadTestResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return recordRoadTest(j, in, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.RecordRoadTestResponse{Job: job, Receipt: receipt}, nil
}

// CancelJob ends a job without invoice.
func (s *Server) CancelJob(ctx context.Context, req *jobv1.CancelJobRequest) (*jobv1.CancelJobResponse, error) {
	job, receipt, err := s.change(ctx, req, func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return cancel(j, req)
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.CancelJobResponse{Job: job, Receipt: receipt}, nil
}
