package inventory

import (
	"context"
	"slices"

	"ramprow/internal/platform/command"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// SetSupplier implements BuyingServiceServer.
func (s *buyingServer) SetSupplier(ctx context.Context, req *inventoryv1.SetSupplierRequest) (*inventoryv1.SetSupplierResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(setSupplier, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// SetOffer implements BuyingServiceServer.
func (s *buyingServer) SetOffer(ctx context.Context, req *inventoryv1.SetOfferRequest) (*inventoryv1.SetOfferResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(setOffer, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// ImportOffers implements BuyingServiceServer.
func (s *buyingServer) ImportOffers(ctx context.Context, req *inventoryv1.ImportOffersRequest) (*inventoryv1.ImportOffersResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(importOffers, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// ListSuppliers implements BuyingServiceServer.
func (s *buyingServer) ListSuppliers(ctx context.Context, _ *inventoryv1.ListSuppliersRequest) (*inventoryv1.ListSuppliersResponse, error) {
	resp := &inventoryv1.ListSuppliersResponse{}
	err := s.view(ctx, func(st *State) error {
		resp.Suppliers = st.knownSuppliers()
		return nil
	})
	return resp, err
}

// ListOffers implements BuyingServiceServer.
func (s *buyingServer) ListOffers(ctx context.Context, req *inventoryv1.ListOffersRequest) (*inventoryv1.ListOffersResponse, error) {
	resp := &inventoryv1.ListOffersResponse{}
	err := s.view(ctx, func(st *State) error {
		offers, more := st.suppliers.list(req, sizeOf(req.GetPageSize()))
		if resp.Offers = offers; more {
			resp.NextPageToken = placeOf(offers[len(offers)-1])
		}
		return nil
	})
	return resp, err
}

func sizeOf(asked int32) int {
	if asked == 0 {
		return valuesOnAPage
	}
	return int(asked)
}

// GetPromise implements BuyingServiceServer.
func (s *buyingServer) GetPromise(ctx context.Context, req *inventoryv1.GetPromiseRequest) (*inventoryv1.GetPromiseResponse, error) {
	var resp *inventoryv1.GetPromiseResponse
	err := s.view(ctx, func(st *State) (err error) {
		resp, err = st.promise(req, s.now())
		return err
	})
	return resp, err
}

// GetOneTimeBuy implements BuyingServiceServer.
func (s *buyingServer) GetOneTimeBuy(ctx context.Context, req *inventoryv1.GetOneTimeBuyRequest) (*inventoryv1.GetOneTimeBuyResponse, error) {
	var q question
	if err := s.view(ctx, func(st *State) error {
		p := st.parts[req.GetPart()]
		if p == nil {
			return noPart(req.GetPart())
		}
		q = st.question(req.GetPart(), p, s.now())
		return nil
	}); err != nil {
		return nil, err
	}
	return oneTimeBuy(q, req)
}

// ListClasses implements BuyingServiceServer.
func (s *buyingServer) ListClasses(ctx context.Context, req *inventoryv1.ListClassesRequest) (*inventoryv1.ListClassesResponse, error) {
	var all map[string]used
	if err := s.view(ctx, func(st *State) error {
		all = st.uses(s.now())
		return nil
	}); err != nil {
		return nil, err
	}
	ranked, err := classes(all)
	if err != nil {
		return nil, err
	}
	if req.GetClass() != "" {
		ranked = slices.DeleteFunc(ranked, func(c *inventoryv1.PartClass) bool { return c.GetClass() != req.GetClass() })
	}
	page, next, err := cutAt(ranked, req.GetPageToken(), sizeOf(req.GetPageSize()))
	if err != nil {
		return nil, err
	}
	return &inventoryv1.ListClassesResponse{Parts: page, NextPageToken: next}, nil
}
