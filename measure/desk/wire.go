package desk

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"

	"ridgerule/measure/plan"
)

// Requests and answers as they go over the wire: JSON, and errors as a status with words.

// body reads a request's JSON.
func body[T any](r *http.Request) (out T, err error) {
	j := json.NewDecoder(r.Body)
	j.DisallowUnknownFields()
	if err := j.Decode(&out); err != nil {
		return out, fmt.Errorf("%w: %w", errBody, err)
	}
	return out, nil
}

var errBody = errors.New("the request is not understood")

// tagOf returns the state of the plan that a request is meant for.
func tagOf(r *http.Request) string {
	tag := r.Header.Get("If-Match")
	if n := len(tag); n > 1 && tag[0] == '"' && tag[n-1] == '"' {
		return tag[1 : n-1]
	}
	return tag
}

func send(w http.ResponseWriter, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	_, err = w.Write(data)
	return err
}

// answer turns an error into a status with words, and with evidence where there is some.
func answer(w http.ResponseWriter, r *http.Request, err error) {
	if err == nil || r.Context().Err() != nil {
		return
	}
	status, evidence := http.StatusInternalServerError, map[string]any{"error": said(err)}
	var clash *conflict
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &clash):
		status, evidence["conflict"] = http.StatusConflict, clash
	case errors.Is(err, ErrStale):
		status = http.StatusPreconditionFailed
	case errors.As(err, &tooLarge):
		status = http.StatusRequestEntityTooLarge
	case errors.Is(err, errBody):
		status = http.StatusBadRequest
	case errors.Is(err, ErrAct), errors.Is(err, ErrNothing), errors.Is(err, ErrPicture), errors.Is(err, ErrPractice), errors.Is(err, plan.ErrEdit):
		status = http.StatusUnprocessableEntity
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(evidence)
}
