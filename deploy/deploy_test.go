// Package deploy holds examples of runs that are split over machines; its tests check that they are well-formed.
package deploy

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

func TestKubernetesJob(t *testing.T) {
	data, err := os.ReadFile("kubernetes-job.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var job struct {
		APIVersion string `yaml:"apiVersion"`
		Kind       string
		Spec       struct {
			CompletionMode string `yaml:"completionMode"`
			Completions    int
			Template       struct {
				Spec struct {
					Containers []struct {
						Args         []string
						VolumeMounts []struct{ Name string } `yaml:"volumeMounts"`
					}
					Volumes []struct{ Name string }
				}
			}
		}
	}
	dec := yaml.NewDecoder(bytes.NewReader(data))
	if err := dec.Decode(&job); err != nil {
		t.Fatal(err)
	}
	if err := dec.Decode(new(any)); !errors.Is(err, io.EOF) {
		t.Errorf("more than one document: %v", err)
	}
	if job.APIVersion != "batch/v1" || job.Kind != "Job" || job.Spec.CompletionMode != "Indexed" {
		t.Errorf("not an indexed batch/v1 Job: %s %s %s", job.APIVersion, job.Kind, job.Spec.CompletionMode)
	}
	pod := job.Spec.Template.Spec
	if len(pod.Containers) != 1 || len(pod.Containers[0].Args) != 1 {
		t.Fatalf("want one container with one script, got %+v", pod.Containers)
	}
	script := pod.Containers[0].Args[0]
	if want := fmt.Sprintf("--shard auto/%d ", job.Spec.Completions); !strings.Contains(script, want) {
		t.Errorf("the script does not split as the Job does: want %q in %q", want, script)
	}
	for _, m := range pod.Containers[0].VolumeMounts {
		if !slices.ContainsFunc(pod.Volumes, func(v struct{ Name string }) bool { return v.Name == m.Name }) {
			t.Errorf("no volume %s", m.Name)
		}
	}
	checkShell(t, script)
}

func TestSlurmArray(t *testing.T) {
	data, err := os.ReadFile("slurm-array.sh")
	if err != nil {
		t.Fatal(err)
	}
	checkShell(t, string(data))
}

func checkShell(t *testing.T, script string) {
	t.Helper()
	cmd := exec.Command("bash", "-n")
	cmd.Stdin = strings.NewReader(script)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("bash -n: %v\n%s", err, out)
	}
}
