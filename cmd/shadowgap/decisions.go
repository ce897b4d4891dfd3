package main

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
)

// decisionStore keeps a review's decisions in the run's database.
type decisionStore struct{ run *runstore.Store }

var _ review.DecisionStore = decisionStore{}

// Append stores decisions durably.
func (d decisionStore) Append(ctx context.Context, ds ...review.Decision) (int, error) {
	rows := make([]runstore.Decision, 0, len(ds))
	for _, x := range ds {
		record, err := decisionRecord(ctx, d.run, x)
		if err != nil {
			return 0, fmt.Errorf("decision %s: %w", x.ID, err)
		}
		rows = append(rows, runstore.Decision{ID: x.ID, At: x.At.UTC().Format(time.RFC3339Nano), Record: record})
	}
	return d.run.AddDecisions(ctx, rows)
}

// All returns every decision, oldest first.
func (d decisionStore) All(ctx context.Context) ([]review.Decision, error) {
	return decisionsOf(ctx, d.run)
}

func decisionsOf(ctx context.Context, run *runstore.Store) ([]review.Decision, error) {
	rows, err := run.Decisions(ctx)
	if err != nil {
		return nil, err
	}
	ds := make([]review.Decision, len(rows))
	for i, r := range rows {
		if err := json.Unmarshal(r.Record, &ds[i]); err != nil {
			return nil, fmt.Errorf("decision %s: %w", r.ID, err)
		}
	}
	return ds, nil
}
